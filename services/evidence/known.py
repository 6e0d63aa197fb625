"""What is known of a log outside the database: the checkpoints that were signed, and how far the bus holds it."""

from services.core.bus import Bus
from services.core.log import Head
from services.evidence.checkpoint import Checkpoint, CheckpointError
from services.evidence.note import NoteError, VerifierKey
from services.evidence.outside import Outside, OutsideUnusable
from services.evidence.proofs import opened


def last_checkpoint(outside: Outside, park: str) -> Checkpoint | None:
    """The newest checkpoint outside; raises OutsideUnusable where it is not one that a known key has signed."""
    last = outside.last()
    return None if last is None else _opened(last, _keys(outside), park)


def every_checkpoint(outside: Outside, park: str) -> tuple[Checkpoint, ...]:
    """Every checkpoint outside, in the order of signing; raises OutsideUnusable where one is not signed by a known key."""
    keys = _keys(outside)
    return tuple(_opened(note, keys, park) for note in outside.notes())


async def end_on_bus(bus: Bus, park: str) -> Head | None:
    """Where the park's stream ends, None where there is none; raises BusUnavailable."""
    stream = await bus.newest(park)
    end = None if stream is None else await bus.end(stream)
    return None if stream is None or end is None else Head(stream.epoch, end.position)


def end_of(checkpoint: Checkpoint) -> Head:
    return Head(checkpoint.epoch, checkpoint.size)


def ahead(known: Head, head: Head) -> bool:
    """Whether a log that ends at `head` lacks what is known. What an epoch before this one has lost is settled."""
    return (known.epoch, known.position) > (head.epoch, head.position)


def _keys(outside: Outside) -> list[VerifierKey]:
    try:
        return [VerifierKey.parse(text) for text in outside.public_keys()]
    except NoteError as error:
        raise OutsideUnusable(f"The list of keys outside the database cannot be believed: {error}") from error


def _opened(note: str, keys: list[VerifierKey], park: str) -> Checkpoint:
    try:
        checkpoint = opened(note, keys)
        of, _, _ = checkpoint.park, checkpoint.epoch, checkpoint.signed_at
    except (NoteError, CheckpointError) as error:
        raise OutsideUnusable(f"A checkpoint outside the database cannot be believed: {error}") from error
    if of != park:
        raise OutsideUnusable(f"A checkpoint outside the database is one of park {of}.")
    return checkpoint
