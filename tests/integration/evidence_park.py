"""A park whose log is signed, for the tests of the signer: its log, the folder outside, and what each place keeps."""

from contextlib import asynccontextmanager
from pathlib import Path

import asyncpg
import nats

from services.core.clock import SystemClock
from services.core.park import Park
from services.evidence import note
from services.evidence.announcer import Announcer
from services.evidence.checkpoint import Checkpoint
from services.evidence.outside import SEPARATOR, Outside
from services.evidence.rounds import Rounds
from services.evidence.signer import Signer
from tests.integration import bus_park

SELDOM = 3600.0


class Signing:
    """One park with a signer; another signer of the same park may be made beside it."""

    def __init__(self, park: bus_park.Park, folder: Path) -> None:
        self.park, self.folder = park, folder
        self.name, self.log = park.name, park.log
        self.outside = Outside(folder, park.name)
        self.file = folder / f"checkpoints-{park.name}.txt"
        self.signer = self.another()

    def another(self, every: float = SELDOM) -> Signer:
        park = Park(self.name, self.log, SystemClock())
        connect = self._connect
        return Signer(park, self.park.pool, Rounds(park, self.outside, connect), every)

    async def _connect(self):
        return await asyncpg.connect(self.park.database.url)

    def announcer(self, bus=None) -> Announcer:
        return Announcer(self.name, self.park.pool, bus or self.park.relay_bus, self.signer)

    async def sign(self, **how):
        return (await self.signer.sign(**how)).note

    async def table(self) -> tuple[str, ...]:
        """The notes that the database keeps, in order."""
        async with self.park.pool.connection() as connection:
            rows = await connection.fetch(
                "SELECT note FROM evidence.checkpoint WHERE park = $1 ORDER BY epoch, size", self.name
            )
        return tuple(row[0] for row in rows)

    async def stream(self) -> tuple[str, ...]:
        """The notes on the bus, read with the account of services by a client that is none of ours."""
        client = await nats.connect(self.park.urls.service)
        try:
            jetstream, name = client.jetstream(), f"CHECKPOINTS_{self.name}"
            last = (await jetstream.stream_info(name)).state.last_seq
            return tuple([(await jetstream.get_msg(name, seq=one)).data.decode() for one in range(1, last + 1)])
        finally:
            await client.close()

    async def as_owner(self, *statements: str) -> None:
        """What only somebody with the whole database in his hands can do."""
        owner = await asyncpg.connect(self.park.database.admin_url)
        try:
            await owner.execute("ALTER TABLE log.event DISABLE TRIGGER history")
            await owner.execute("ALTER TABLE log.event_tag DISABLE TRIGGER history")
            await owner.execute("ALTER TABLE log.request DISABLE TRIGGER history")
            for statement in statements:
                await owner.execute(statement)
        finally:
            await owner.close()

    def exchange(self, *notes: str) -> None:
        """Put other notes into the file outside."""
        self.file.write_bytes(b"".join(one.encode() + SEPARATOR for one in notes))


def head_of(text: str) -> Checkpoint:
    return Checkpoint.parse(note.read(text).text)


def signers_of(text: str) -> list[str]:
    """The ids of the keys below a note, in hexadecimal."""
    return [one.id.hex() for one in note.read(text).signatures]


@asynccontextmanager
async def opened(database, urls, folder):
    async with bus_park.opened(database, urls) as park:
        yield Signing(park, folder)
