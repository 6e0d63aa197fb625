"""The next game of a field, from who is there: the promised one where it still holds, else the best one; fair in either case."""

from collections.abc import Iterable, Sequence

from contracts.rules import RotationRules
from services.games.rotation.fairness import come_first
from services.games.rotation.promises import Promise, Promises
from services.games.rotation.seating import outnumbering, seat
from services.games.rotation.units import Unit


class Filling:
    """One game in the making. `there`: everybody who could be in it; `free`: those to whom no other game is promised soon."""

    def __init__(  # noqa: PLR0913, PLR0917 - who, where, what was promised, by which rules, when
        self,
        there: Sequence[Unit],
        places: int,
        promises: Promises,
        promise: Promise | None,
        rules: RotationRules,
        now: float,
    ) -> None:
        self.rules, self.places = rules, places
        self.free = [unit for unit in there if not promises.elsewhere(unit, promise, now + rules.steady_minutes)]
        self.kept = [unit for unit in self.free if promise is not None and promises.holds(promise, unit)]
        self.fixed = promise is not None and promise.slot.fixed and 0 < players(self.kept) <= places
        self.firm = now < rules.firm_minutes
        self.rank = {id(unit): unit.waited(now) for unit in self.free}
        self.first = come_first(there)
        self.levels = outnumbering(there)

    def game(self) -> list[Unit]:
        """Who plays; empty where too few are there."""
        if self.fixed:
            return self.kept
        if min(self.places, players(self.free)) < self.rules.fewest_players:
            return []
        strong = self._strong() if self._fair(self.kept) else []
        if strong and len(strong) == len(self.kept):
            seated = self._filled(self.kept)
            if seated:
                return seated
        for unit in self.kept:
            self.rank[id(unit)] += self.rules.steady_minutes
        base = [unit for unit in self.free if not self.first[id(unit)]]
        return self._filled(self._best(base, strong)) or self._with_whom_it_must() or self._best(self.free, [])

    def _fair(self, seated: Iterable[Unit]) -> bool:
        """Whether nobody among them goes before somebody who is left out."""
        names = {id(unit) for unit in seated}
        return all(self.first[name] <= names for name in names)

    def _strong(self) -> list[Unit]:
        """Who of the promised game keeps his place in it against everybody whom it would leave out: in the next minutes all of it."""
        if self.firm:
            return self.kept
        seated = self._filled(self.kept)
        left_out = max((self.rank[id(unit)] for unit in self.free if unit not in seated), default=0.0)
        return [unit for unit in self.kept if self.rank[id(unit)] + self.rules.steady_minutes >= left_out]

    def _best(self, units: Sequence[Unit], strong: Sequence[Unit]) -> list[Unit]:
        """Whoever waited longest is in it, unless no game has him, or his players and the others' make no teams."""
        if not units:
            return []
        first = max(units, key=lambda unit: (self.rank[id(unit)], -unit.played))
        must = [first, *(unit for unit in strong if unit is not first and unit in units)]
        games = (self._seat(units, forced) for forced in (must, [first], []))
        return next((game for game in games if game), [])

    def _filled(self, seated: list[Unit]) -> list[Unit]:
        """With whoever else has a place in it without going before somebody who is left out."""
        while seated:
            names = {id(unit) for unit in seated}
            more = self._seat([unit for unit in self.free if self.first[id(unit)] <= names], seated)
            if len(more) <= len(seated):
                return more
            seated = more
        return []

    def _with_whom_it_must(self) -> list[Unit]:
        """Where those who come first are too few by themselves: a game of theirs with somebody who may only play together with them."""
        free = {id(unit): unit for unit in self.free}
        for unit in sorted(self.free, key=lambda one: (len(self.first[id(one)]), -self.rank[id(one)])):
            names = self._closed({id(unit)})
            if names <= free.keys() and len(names) > 1:
                pool = [one for one in self.free if self.first[id(one)] <= names]
                seated = self._filled(self._seat(pool, [free[name] for name in names]))
                if seated:
                    return seated
        return []

    def _closed(self, names: set[int]) -> set[int]:
        """With everybody who comes before one of them, and so on."""
        more = names.union(*(self.first[name] for name in names))
        return names if more == names else self._closed(more)

    def _seat(self, units: Sequence[Unit], forced: Sequence[Unit]) -> list[Unit]:
        worth = {id(unit): unit.players * (1 + self.rank[id(unit)]) for unit in (*units, *forced)}
        return seat(units, worth, self.places, forced=forced, fewest=self.rules.fewest_players, levels=self.levels)


def players(seated: Iterable[Unit]) -> int:
    return sum(unit.players for unit in seated)
