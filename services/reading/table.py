"""What is kept of webhooks beside the log: how far each has come, the letter that is under way, and those that were given up."""

from datetime import datetime
from typing import Any, Final
from uuid import UUID

from msgspec import Struct

from services.core.clock import Clock
from services.core.pool import Pool
from services.reading.letters import Letter

_PUT: Final = "INSERT INTO reading.webhook (park, opening, webhook, sealed, opened_at) VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING RETURNING true"
_TAKE_BACK: Final = "DELETE FROM reading.webhook WHERE park = $1 AND opening = $2"
_SEALED: Final = "SELECT sealed FROM reading.webhook WHERE park = $1 AND opening = $2"
_SHUT: Final = "UPDATE reading.webhook SET sealed = NULL WHERE park = $1 AND webhook = $2 AND sealed IS NOT NULL AND opening <> ALL ($3)"
_STANDING: Final = (
    "SELECT position, letter_first, letter_last, tries, why, "
    "(SELECT count(*) FROM reading.dead_letter d WHERE d.park = w.park AND d.opening = w.opening) "
    "FROM reading.webhook w WHERE park = $1 AND opening = $2"
)
_LEAVE_OUT: Final = "UPDATE reading.webhook SET position = $3 WHERE park = $1 AND opening = $2 AND letter_first IS NULL"
_BEGIN: Final = "UPDATE reading.webhook SET letter_first = $3, letter_last = $4 WHERE park = $1 AND opening = $2 AND letter_first IS NULL"
_FAILED: Final = "UPDATE reading.webhook SET tries = $3, why = $4 WHERE park = $1 AND opening = $2"
_DONE: Final = (
    "UPDATE reading.webhook SET position = $4, letter_first = NULL, letter_last = NULL, tries = 0, why = '' "
    "WHERE park = $1 AND opening = $2 AND letter_first = $3"
)
_GIVE_UP: Final = (
    "INSERT INTO reading.dead_letter (park, opening, webhook, epoch, first, last, events, tries, why, given_up_at) "
    "VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) ON CONFLICT DO NOTHING"
)
_DEAD: Final = (
    "SELECT webhook, epoch, first, last, events, tries, why, given_up_at, replay FROM reading.dead_letter "
    "WHERE park = $1 AND ($2::text IS NULL OR webhook = $2) ORDER BY given_up_at DESC, first DESC LIMIT 1000"
)
_DEAD_LAST: Final = "SELECT last FROM reading.dead_letter WHERE park = $1 AND opening = $2 AND first = $3"
_REPLAY: Final = "UPDATE reading.dead_letter SET replay = true WHERE park = $1 AND opening = $2 AND first = $3"
_TO_REPLAY: Final = "SELECT first, last, tries FROM reading.dead_letter WHERE park = $1 AND opening = $2 AND replay ORDER BY first LIMIT 1"
_REPLAYED: Final = "DELETE FROM reading.dead_letter WHERE park = $1 AND opening = $2 AND first = $3"
_NOT_REPLAYED: Final = "UPDATE reading.dead_letter SET replay = false, tries = tries + 1, why = $4 WHERE park = $1 AND opening = $2 AND first = $3"


class Standing(Struct, frozen=True):
    """How far a webhook has come. `position` is None before anything was dealt with."""

    position: int | None = None
    first: int | None = None
    last: int | None = None
    tries: int = 0
    why: str = ""
    dead_letters: int = 0


class Dead(Struct, frozen=True):
    webhook: str
    epoch: int
    first: int
    last: int
    events: int
    tries: int
    why: str
    given_up_at: datetime
    replay: bool


class Table:
    """The rows of one park. Each method is one statement, or one transaction: a connection is borrowed for that long and no longer."""

    def __init__(self, pool: Pool, park: str, clock: Clock) -> None:
        self._pool = pool
        self._park = park
        self._clock = clock

    async def put(self, opening: UUID, webhook: str, sealed: bytes, now: datetime) -> bool:
        """Keep where a webhook leads, under the id of its event to come; False where that lies there already."""
        return bool(await self._value(_PUT, opening, webhook, sealed, now))

    async def take_back(self, opening: UUID) -> None:
        """It was refused: no event will bear that id."""
        await self._do(_TAKE_BACK, opening)

    async def sealed(self, opening: UUID) -> bytes | None:
        sealed: bytes | None = await self._value(_SEALED, opening)
        return sealed

    async def shut(self, webhook: str, still_open: list[UUID]) -> None:
        """Destroy the address and secret of a webhook's openings that are over."""
        await self._do(_SHUT, webhook, still_open)

    async def standing(self, opening: UUID) -> Standing:
        async with self._pool.connection() as connection:
            row = await connection.fetchrow(_STANDING, self._park, opening)
        return Standing(*row) if row else Standing()

    async def pass_over(self, opening: UUID, position: int) -> None:
        """Nothing was wanted up to a position."""
        await self._do(_LEAVE_OUT, opening, position)

    async def begin(self, opening: UUID, letter: Letter) -> None:
        """A letter is about to leave: whoever sends it after a crash sends the very same."""
        await self._do(_BEGIN, opening, letter.first, letter.last)

    async def failed(self, opening: UUID, tries: int, why: str) -> None:
        await self._do(_FAILED, opening, tries, why)

    async def done(self, opening: UUID, letter: Letter) -> None:
        await self._do(_DONE, opening, letter.first, letter.last)

    async def give_up(self, opening: UUID, webhook: str, letter: Letter, tries: int, why: str) -> None:
        """Put a letter on the list of dead ones, and go on behind it: both or neither."""
        one = (webhook, letter.epoch, letter.first, letter.last, letter.events, tries, why, self._clock.now())
        async with self._pool.connection() as connection, connection.transaction():
            await connection.execute(_GIVE_UP, self._park, opening, *one)
            await connection.execute(_DONE, self._park, opening, letter.first, letter.last)

    async def dead(self, webhook: str | None) -> list[Dead]:
        """The letters that were given up, the newest first."""
        async with self._pool.connection() as connection:
            return [Dead(*row) for row in await connection.fetch(_DEAD, self._park, webhook)]

    async def last_of_dead(self, opening: UUID, first: int) -> int | None:
        """The last position of a dead letter; None where there is none that begins there."""
        last: int | None = await self._value(_DEAD_LAST, opening, first)
        return last

    async def replay(self, opening: UUID, first: int) -> None:
        await self._do(_REPLAY, opening, first)

    async def to_replay(self, opening: UUID) -> tuple[int, int, int] | None:
        """The first and last position of the next letter that is to be sent again, and how often it was tried."""
        async with self._pool.connection() as connection:
            row = await connection.fetchrow(_TO_REPLAY, self._park, opening)
        return tuple(row) if row else None

    async def replayed(self, opening: UUID, first: int) -> None:
        await self._do(_REPLAYED, opening, first)

    async def not_replayed(self, opening: UUID, first: int, why: str) -> None:
        await self._do(_NOT_REPLAYED, opening, first, why)

    async def _do(self, statement: str, *values: object) -> None:
        async with self._pool.connection() as connection:
            await connection.execute(statement, self._park, *values)

    async def _value(self, statement: str, *values: object) -> Any:
        async with self._pool.connection() as connection:
            return await connection.fetchval(statement, self._park, *values)
