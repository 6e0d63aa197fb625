"""A board's memory of one operating day: the states at hand, today's people, and the verdict on each, judged anew only when touched."""

import asyncio
from collections import defaultdict
from collections.abc import Collection, Iterable
from datetime import date, datetime
from itertools import chain
from typing import Any

from services.board.at_hand import AtHand, Verdict
from services.board.notes import ARRIVAL, LAST_RESULT, NOTES, SPOT_CHECK, UNRESOLVED, Arrival
from services.board.results import STATIONS
from services.board.rows import Rows
from services.board.verdicts import asked_fields, called_to, judge
from services.clearance import model as clearance
from services.clearance import play
from services.clearance.api import PROJECTION as CLEARANCE
from services.clearance.field import FIELD, FIELDS
from services.core.command import Moment
from services.core.fold import Fold, Given, Subject
from services.core.pool import Pool
from services.core.projection import Change
from services.core.rules import RULES, operating_day
from services.duty.states import FIELD_STAFF, OPENED_DAY, PARK_STAFF
from services.equipment.kit import KIT
from services.games.first_aid import CALLS
from services.games.line_up import LINE_UP
from services.games.rotation.published import PUBLISHED, SESSIONS
from services.games.states import BESIDE, GAME
from services.incidents.telling import INCIDENT, OPEN
from services.park.states import HEAT, LIGHTNING
from services.velocity.measured import CHRONOS, RECENT
from services.velocity.states import CHRONO

SLICE = 50
"""Players judged before the others in this process get their turn."""


class Memory:
    """Bounded by one day's people and gear, whatever the length of the log."""

    def __init__(self, park: str, pool: Pool) -> None:
        self.given = Given()
        self._opened: tuple[date, int] | None = None
        self._rows = {folds.name: Rows(folds, park, pool, self.given) for folds in (CLEARANCE, NOTES)}
        self._home: dict[Fold[Any], Rows] = {
            fold: rows for rows in self._rows.values() for folds in rows.folds.by_prefix.values() for fold in folds
        }
        self._arrivals: dict[str, Arrival] = {}
        self._called: dict[str, str] = {}
        self._due: dict[str, None] = {}
        """Whom to judge anew, in this order: the latest touched first."""
        self._verdicts: dict[str, Verdict] = {}
        self._concerned: defaultdict[str, set[str]] = defaultdict(set)
        """By tag of the clearance: the players whose verdict rests on it."""

    @property
    def position(self) -> int:
        return min(rows.position for rows in self._rows.values())

    @property
    def epoch(self) -> int:
        return max(rows.epoch for rows in self._rows.values())

    def hear(self, change: Change[Any]) -> bool:
        """Note what a projection tells. Returns whether all have come to one position: only such states fit together."""
        self._rows[change.name].hear(change)
        together = len({rows.told for rows in self._rows.values()}) == 1
        if together:
            for rows in self._rows.values():
                rows.ripen()
        return together

    def moment(self, now: datetime) -> Moment:
        rules = self.given.of(RULES, "").rules
        day = operating_day(rules, now)
        return Moment(now=now, occurred_at=now, day=day, rules=rules, position=self.position)

    async def open(self, now: datetime) -> None:
        """Read the park and the people of the day that it is there."""
        await self._ask(
            (fold, "")
            for fold in (RULES, PARK_STAFF, FIELDS, UNRESOLVED, CHRONOS, OPENED_DAY, LIGHTNING, HEAT, OPEN, CALLS)
        )
        await self._ask((LAST_RESULT, station) for station in STATIONS)
        await self._ask((fold, self.moment(now).day.isoformat()) for fold in (PUBLISHED, SESSIONS))
        self._today = f"day:{self.moment(now).day}:"
        for tag in await self._rows[NOTES.name].ask_prefix(self._today):
            self._due |= dict.fromkeys(self._welcome(tag))
        self._opened = (self.moment(now).day, self.epoch)
        for rows in self._rows.values():
            rows.told = max(rows.told, rows.position)

    def serves(self, now: datetime) -> bool:
        """Whether it is still the day, and the life of the log, that was opened."""
        return self._opened == (self.moment(now).day, self.epoch)

    @property
    def unread(self) -> bool:
        """Whether somebody came of whom nothing has been read yet."""
        return len(self._verdicts) < len(self._arrivals)

    @property
    def stirred(self) -> bool:
        """Whether something was told that is not taken in yet."""
        return any(rows.stirred for rows in self._rows.values())

    @property
    def unfinished(self) -> bool:
        """Whether somebody waits to be judged anew."""
        return bool(self._due)

    def judge_everybody(self) -> None:
        """For what time alone has changed; behind whoever waits already."""
        self._due |= dict.fromkeys(self._arrivals)

    async def bring_up_to(self, now: datetime, most: int | None = None) -> AtHand:
        """Take in what was told, and judge whom it touches, at most so many now: the park's holds wait for nobody's papers."""
        touched = self._take_in()
        touched |= await self._follow_games()
        chronos = self.given.of(CHRONOS, "").names
        await self._ask((fold, name) for name in chronos for fold in (CHRONO, RECENT))
        await self._ask((INCIDENT, name) for name in self.given.of(OPEN, "").names)
        self._due = dict.fromkeys([*touched, *self._due])
        now_judged = list(self._due)[:most]
        await self._judge(now_judged, now)
        for player in now_judged:
            del self._due[player]
        await self._ask((SPOT_CHECK, marker) for marker in self._markers_on_fields())
        return AtHand(self.given, self._arrivals, self._verdicts, self.moment(now))

    def _take_in(self) -> set[str]:
        touched = {
            player
            for tag in self._rows[CLEARANCE.name].take_in()
            for player in (self._arrivals if tag == "rules" else self._concerned.get(tag, ()))
        }
        for tag, states in self._rows[NOTES.name].take_in().items():
            if tag.startswith(self._today):
                self._rows[NOTES.name].keep(tag, states)
                touched |= self._welcome(tag)
        return touched

    def _welcome(self, tag: str) -> set[str]:
        arrival = self.given.of(ARRIVAL, tag.partition(":")[2])
        if not arrival.player:
            return set()
        self._arrivals[arrival.player] = arrival
        return {arrival.player}

    async def _follow_games(self) -> set[str]:
        """Have every field's games at hand; returns who was put on a list that waits, or taken off one."""
        names = self.given.of(FIELDS, "").names
        await self._ask(play.todays_checks(self.given))
        await self._ask((fold, name) for name in names for fold in (FIELD, FIELD_STAFF, BESIDE))
        games = {game for name in names for game in self.given.of(FIELD, name).runs}
        await self._ask((fold, game) for game in games for fold in (GAME, LINE_UP))
        before, self._called = self._called, called_to(self.given)
        players = before.keys() | self._called.keys()
        return {
            player for player in players if before.get(player) != self._called.get(player) and player in self._arrivals
        }

    async def _judge(self, players: Collection[str], now: datetime) -> None:
        waiting = list(players)
        for start in range(0, len(waiting), SLICE):
            some = waiting[start : start + SLICE]
            subjects = await self._read_for(some)
            moment = self.moment(now)
            for player in some:
                fields = asked_fields(self.given, player, self._arrivals[player], self._called)
                self._verdicts[player] = judge(self.given, player, fields, moment)
                for fold, subject in subjects[player]:
                    self._concerned[fold.tag(subject)].add(player)
            await asyncio.sleep(0)

    async def _read_for(self, players: Iterable[str]) -> dict[str, set[Subject]]:
        """Have at hand, and return, whatever their clearance rests on: what a player carries first, then what is known of that."""
        while True:
            subjects = {player: self._subjects(player) for player in players}
            if not await self._ask(chain.from_iterable(subjects.values())):
                return subjects

    def _subjects(self, player: str) -> set[Subject]:
        fields = self.given.of(FIELDS, "").names
        return {
            subject
            for subject in clearance.subjects(player, min(fields, default=""))(self.given)
            if subject[0] is not FIELD
        } | {(FIELD, name) for name in fields}

    def _markers_on_fields(self) -> Iterable[str]:
        """The markers that are on a field."""
        on = (player for player, verdict in self._verdicts.items() if verdict.whereabouts == "on_field")
        return (marker for player in on for marker in self.given.of(KIT, player).markers)

    async def _ask(self, subjects: Iterable[Subject]) -> bool:
        tags: dict[str, dict[str, None]] = {name: {} for name in self._rows}
        for fold, subject in subjects:
            tags[self._home[fold].folds.name][fold.tag(subject)] = None
        return any([await rows.ask(tags[name]) for name, rows in self._rows.items()])
