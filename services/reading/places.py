"""Where a reader stands: an epoch and a position, and what a restore has made of them."""

from typing import Final

from msgspec import Struct

from contracts.problems import PositionAhead
from services.core.log import Head, Log
from services.core.pool import Pool

_FIRST_OF_LATER: Final = "SELECT min(position) FROM evidence.epoch WHERE park = $1 AND epoch > $2"


class Place(Struct, frozen=True):
    epoch: int
    position: int

    def __str__(self) -> str:
        return f"{self.epoch}:{self.position}"


def read_place(token: str) -> Place:
    """The place that a token names, which has been checked to be one."""
    epoch, _, position = token.partition(":")
    return Place(int(epoch), int(position))


class Places:
    """What a log says of a reader's place."""

    def __init__(self, log: Log, pool: Pool) -> None:
        self._log = log
        self._pool = pool

    async def common(self, place: Place, name: str) -> Place:
        """The last place up to which the log holds what this reader was told: his own, unless a restore has cut it off.

        Raises PositionAhead for a place that no life of the log ever had.
        """
        head = await self._log.head()
        if place.epoch < head.epoch:
            return await self._before_the_cut(place, head)
        if place.epoch > head.epoch or place.position > head.position:
            raise PositionAhead(
                f"{name}={place}, but the log stands at {head.epoch}:{head.position}. Send the epoch and position of an event, or leave it out.",
                where=name,
            )
        return place

    async def _before_the_cut(self, place: Place, head: Head) -> Place:
        async with self._pool.connection() as connection:
            cut = await connection.fetchval(_FIRST_OF_LATER, self._log.park, place.epoch)
        last = head.position if cut is None else int(cut) - 1
        return place if place.position <= last else Place(place.epoch, last)
