"""The announcer: hands every checkpoint on to the bus, for whoever wants to keep them elsewhere. The bus may be down; it is caught up."""

import asyncio

import msgspec
import structlog

from services.core.bus import Bus
from services.core.pool import LOST, Pool
from services.core.stream import BusUnavailable, LaterEpoch, Stream, WrongSequence
from services.evidence import checkpoints, note
from services.evidence.checkpoint import Checkpoint, CheckpointError
from services.evidence.note import NoteError
from services.evidence.signer import Signer

BATCH = 100
_LOOK_EVERY = 5.0
_FAILED: tuple[type[Exception], ...] = (
    BusUnavailable,
    WrongSequence,
    LaterEpoch,
    NoteError,
    CheckpointError,
    *LOST,
)
_logger = structlog.get_logger()


class Announcements(Stream, frozen=True):
    """A park's checkpoints on the bus: one message each, in the order of signing."""

    @property
    def name(self) -> str:
        return f"CHECKPOINTS_{self.park}"

    @property
    def subjects(self) -> str:
        return f"checkpoint.{self.park}"

    def subject(self, message: bytes) -> str:  # noqa: ARG002 - all bear the same
        return self.subjects


class _End(msgspec.Struct, frozen=True):
    """Where the stream ends: its sequence, and the last checkpoint on it."""

    sequence: int
    epoch: int
    size: int


class Announcer:
    """Announces one park's checkpoints, those of other processes too."""

    def __init__(self, park: str, pool: Pool, bus: Bus, signer: Signer) -> None:
        self._park = park
        self._pool = pool
        self._bus = bus
        self._signer = signer
        self._stream = Announcements(park, 1)

    async def run(self) -> None:
        """Announce for ever; whatever fails is tried again. Ends only when cancelled."""
        end: _End | None = None
        while True:
            self._signer.signed.clear()
            try:
                end = await self._announce(end or await self._end())
            except _FAILED as error:
                end = None
                _logger.info("checkpoints not announced", park=self._park, why=repr(error))
            try:
                async with asyncio.timeout(_LOOK_EVERY):
                    await self._signer.signed.wait()
            except TimeoutError:
                pass

    async def _end(self) -> _End:
        end = await self._bus.end(self._stream)
        if end is None:
            await self._bus.make(self._stream)
            return _End(0, 0, 0)
        if end.leaf is None:
            return _End(end.position, 0, 0)
        head = Checkpoint.parse(note.read(end.leaf).text)
        return _End(end.position, head.epoch, head.size)

    async def _announce(self, end: _End) -> _End:
        """Publish what was signed after it; where the stream then ends."""
        while True:
            async with self._pool.connection() as connection:
                signed = await checkpoints.after(connection, self._park, end.epoch, end.size, BATCH)
            if not signed:
                return end
            sequence = await self._bus.publish(self._stream, [one.note.encode() for one in signed], end.sequence)
            end = _End(sequence, signed[-1].epoch, signed[-1].size)
