"""One projection's states as a board keeps them at hand: read from its rows when first asked for, then kept by what the projector tells."""

from collections.abc import Iterable

from services.core import generations
from services.core.fold import Given
from services.core.folds import Folds, States
from services.core.pool import Pool
from services.core.projection import Change

TOGETHER = 2000
"""Tags that are read by one query."""


class Rows:
    """Only tags once asked for are kept. What is told of one while it is being read is put on top of what was read."""

    def __init__(self, folds: Folds, park: str, pool: Pool, given: Given) -> None:
        self.folds = folds
        self.position = 0
        self.epoch = 0
        self._park = park
        self._pool = pool
        self._given = given
        self._known: set[str] = set()
        self.told = 0
        self._news: dict[str, States] = {}
        self._ripe: dict[str, States] = {}
        self._ripe_at = 0

    def hear(self, change: Change[States]) -> None:
        """Note what changed; it counts once it is ripe, and is at hand once it is taken in."""
        self._news |= change.states
        self.told = change.position
        self.epoch = max(self.epoch, change.epoch)

    def ripen(self) -> None:
        """What was noted so far may be taken in."""
        self._ripe |= self._news
        self._news = {}
        self._ripe_at = self.told

    @property
    def stirred(self) -> bool:
        return self._ripe_at > self.position or bool(self._ripe)

    def take_in(self) -> dict[str, States]:
        """Bring the states at hand up to what is ripe; returns all of that, also for tags that nobody asked for."""
        news, self._ripe = self._ripe, {}
        self._put({tag: states for tag, states in news.items() if tag in self._known})
        self.position = max(self.position, self._ripe_at)
        return news

    async def ask(self, tags: Iterable[str]) -> bool:
        """Have these at hand; returns whether any had to be read."""
        missing = [tag for tag in tags if tag not in self._known]
        self._known.update(missing)
        for start in range(0, len(missing), TOGETHER):
            async with self._pool.connection() as connection:
                some = missing[start : start + TOGETHER]
                self._found(await generations.read(connection, self.folds.name, self._park, some))
        return bool(missing)

    async def ask_prefix(self, prefix: str) -> list[str]:
        """Have every tag at hand that begins so; returns them."""
        async with self._pool.connection() as connection:
            found = await generations.read_prefix(connection, self.folds.name, self._park, prefix)
        self._known.update(found.states)
        self._found(found)
        return list(found.states)

    def keep(self, tag: str, states: States) -> None:
        """Have a tag at hand that was just told of."""
        self._known.add(tag)
        self._put({tag: states})

    def _found(self, found: generations.Found) -> None:
        self.epoch = max(self.epoch, found.epoch)
        self.position = max(self.position, found.position)
        self._put({tag: self.folds.decode(tag, state) for tag, state in found.states.items()})

    def _put(self, states: dict[str, States]) -> None:
        for tag, values in states.items():
            prefix, _, subject = tag.partition(":")
            for fold, value in zip(self.folds.by_prefix[prefix], values, strict=True):
                self._given.put((fold, subject), value)
