"""Standings: what cautions come to in either world: sit-outs owed and served, stood down, ejected. Computed from the record, never kept as a counter."""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any, Final

from msgspec import Struct

from contracts.envelope import Recorded
from contracts.rules import Rules
from contracts.what_if import Facet
from services.audit.replays.worlds import World, Worlds
from services.clearance.model import played_in, rotations_of
from services.core.command import Moment
from services.core.rules import RULES
from services.discipline.standing import standing
from services.discipline.states import RECORD

Facets = dict[Facet, int]
NOTHING: Final[Facets] = {"sit_outs_owed": 0, "sit_outs_served": 0, "stood_down": 0, "ejected": 0}


class Differs(Struct, frozen=True):
    """From this event on a player's standing would have been another."""

    event: Recorded[Any]
    player: str
    what: Facet
    was: int
    would_be: int


class Standings:
    """Compares the standing of whoever was cautioned, after each event that may bear on it. Each difference is told once."""

    def __init__(self, worlds: Worlds, rules: Rules | None) -> None:
        self._worlds = worlds
        self._rules = rules
        self._missing_games: defaultdict[str, set[str]] = defaultdict(set)
        """By rotation: the players with a caution, whose sit-outs its games serve."""
        self._told: defaultdict[str, dict[Facet, int]] = defaultdict(dict)

    async def after(self, event: Recorded[Any]) -> list[Differs]:
        """What differs from this event on."""
        found: list[Differs] = []
        for player in self._concerned(event):
            if not await self._may_differ(player):
                was = would_be = NOTHING
            else:
                was = _facets(self._worlds.recorded, player, event, None)
                would_be = _facets(self._worlds.other, player, event, self._rules)
            found += self._news(event, player, was, would_be)
        return found

    async def _may_differ(self, player: str) -> bool:
        if self._rules is None and self._worlds.same:
            return False
        played = await self._worlds.have_for(lambda given: played_in(given, player))
        return self._rules is not None or self._worlds.differ({(RECORD, player), *played})

    def _concerned(self, event: Recorded[Any]) -> Iterable[str]:
        """Cautioned players whom the event names, or whose rotation it belongs to."""
        names: dict[str, None] = {}
        for tag in event.tags:
            prefix, _, subject = tag.partition(":")
            if prefix == "player" and self._cautioned(subject):
                names[subject] = None
            elif prefix == "rotation":
                names |= dict.fromkeys(sorted(self._missing_games[subject]))
            elif prefix == "rules":
                names |= dict.fromkeys(sorted(set().union(*self._missing_games.values())))
        return names

    def _cautioned(self, player: str) -> bool:
        records = [self._worlds.recorded.of(RECORD, player)]
        if not self._worlds.same:
            records.append(self._worlds.other.of(RECORD, player))
        if not any(record.entries for record in records):
            return False
        for rotation in frozenset[str]().union(*(record.rotation_ids for record in records)):
            self._missing_games[rotation].add(player)
        return True

    def _news(self, event: Recorded[Any], player: str, was: Facets, would_be: Facets) -> Iterable[Differs]:
        told = self._told[player]
        for what, before in was.items():
            difference = would_be[what] - before
            if difference not in {0, told.get(what, 0)}:
                yield Differs(event, player, what, before, would_be[what])
            told[what] = difference


def _facets(world: World, player: str, event: Recorded[Any], rules: Rules | None) -> Facets:
    """Whoever is ejected owes nothing more, and serves nothing by the games that he misses for it."""
    rotations, stops = rotations_of(world, player)
    moment = Moment(
        now=event.recorded_at,
        occurred_at=event.recorded_at,
        day=event.day,
        rules=rules or world.of(RULES, "").rules,
        position=event.position,
    )
    now = standing(world.of(RECORD, player), rotations, moment, stops)
    return {
        "sit_outs_owed": 0 if now.ejected else now.sit_outs_owed,
        "sit_outs_served": now.sit_outs_served,
        "stood_down": int(now.stood_down and not now.ejected),
        "ejected": int(now.ejected),
    }
