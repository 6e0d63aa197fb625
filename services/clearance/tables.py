"""The same states from the read tables: for screens, which may be a moment behind and admit nobody."""

from services.core import generations
from services.core.fold import Given, Subject
from services.core.folds import Folds
from services.core.park import Reads
from services.core.pool import Pool
from services.core.rules import RULES


async def load(pool: Pool, park: str, folds: Folds, reads: Reads) -> tuple[Given, int, int]:
    """What `reads` names, as one snapshot of the rows of `folds`; with the epoch and position that they stand at."""
    given, known = Given(), set[Subject]()
    epoch, position = 1, 0
    wanted = {(RULES, ""), *reads(given)}
    async with pool.connection() as connection, connection.transaction(isolation="repeatable_read", readonly=True):
        while wanted:
            tags = {fold.tag(subject) for fold, subject in wanted}
            found = await generations.read(connection, folds.name, park, tags)
            epoch, position = found.epoch, found.position
            folds.given({tag: folds.decode(tag, state) for tag, state in found.states.items()}, given)
            known |= wanted
            wanted = set(reads(given)) - known
    return given, epoch, position
