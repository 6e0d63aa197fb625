"""How often the truth lay within the ranges that were told on the invented Saturday: until one is served at a station, and until one plays.

Told is only from what was on record at that moment; the truth is what happened then. At the desk nothing is told: who stands there is on no record yet.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import groupby, pairwise

from msgspec import Struct

from contracts.board import Range, StationName
from contracts.rules import DEFAULT, WaitRules
from services.board.waits.foretelling import Turning, at_work, begins
from services.board.waits.plays import Lateness, starts
from services.board.waits.ranges import ranged
from services.board.waits.stations import prior_of
from services.board.waits.timing import timed
from services.board.waits.turns import KEPT, Turn
from services.games.rotation.model import Plan, Slot
from tests.bench.saturday_day import BREAK, Day, Played
from tests.bench.saturday_stations import Journeys, Served, moment
from tests.bench.saturday_world import World

TOLD: Sequence[StationName] = ("briefing", "gear counter", "chronograph")
RULES: WaitRules = DEFAULT.waits


class Forecast(Struct, frozen=True):
    """What was told, of whom and when, and what came true, in minutes from then on; None where it never came true."""

    about: str
    now: float
    told: Range
    true: float | None

    @property
    def held(self) -> bool:
        return self.true is not None and self.told.low <= self.true <= self.told.high


def coverage(forecasts: Sequence[Forecast]) -> float:
    return sum(one.held for one in forecasts) / len(forecasts)


def at_the_stations(world: World, journeys: Journeys) -> Iterator[Forecast]:
    """Each group that joins a line, of when the first of it is served."""
    for station in TOLD:
        served = journeys.turns[station]
        joins = {one.group: one for one in reversed(served)}
        for number, one in enumerate(sorted(joins.values(), key=lambda each: (each.came, each.group))):
            told = _told(station, served, one, world.seed * 1000 + number)
            if told is not None:
                yield Forecast(station, one.came, told, one.begins - one.came)


def _told(station: StationName, served: Sequence[Served], joins: Served, seed: int) -> Range | None:
    """What the record says at that moment: the turns that are over, who stands before the group, and since when each server is at work."""
    now = joins.came
    turns = [_as_one(list(same)) for _, same in groupby(served, key=lambda one: (one.begins, one.server))]
    over = sorted((one for one in turns if one.last <= moment(now)), key=lambda one: one.last)[-KEPT:]
    came = {(f"player:{one.group}", moment(one.ends)): moment(one.came) for one in served}
    today = timed(over, lambda turn: _came(came, turn), RULES)
    line = sorted((one for one in served if _order(one) < _order(joins) and now < one.ends), key=_order)
    stood = [now - one.came for one in line for _ in range(one.heads)]
    latest = {one.server: one for one in over}
    shooting = {one.server: moment(one.begins) for one in served if one.begins <= now < one.ends}
    since = {
        server: max(turn.last, shooting.get(server, turn.last)) if station == "chronograph" else turn.last
        for server, turn in latest.items()
        if (moment(now) - turn.last).total_seconds() / 60 <= RULES.serving_minutes
    }
    if not since:
        return None
    turning = Turning(today, prior_of(station, RULES), seed)
    elapsed = at_work(turning, [(moment(now) - at).total_seconds() / 60 for at in since.values()], stood)
    return ranged(begins(turning, len(stood), elapsed)[:, -1], RULES.confidence)


def _order(one: Served) -> tuple[float, str]:
    """Who comes at the same time stands in order of name."""
    return one.came, one.group


def _as_one(same: Sequence[Served]) -> Turn:
    first = same[0].turn
    return Turn(first.server, first.first, first.last, first.whom, sum(one.heads for one in same), first.opened)


def _came(came: dict[tuple[str, datetime], datetime], turn: Turn) -> datetime | None:
    return came.get((turn.whom, turn.last))


def of_the_games(now: float, made: Plan, before: Sequence[Played], seed: int) -> dict[str, Range]:
    """The next game of everybody who is in a plan and is told a range, by the starts before it."""
    lateness = Lateness(list(_excesses([game for game in before if game.starts <= now])), RULES, seed)
    found: dict[str, Range] = {}
    for _, lane in groupby(sorted(made.slots, key=lambda slot: (slot.field, slot.start)), key=lambda slot: slot.field):
        slots: list[Slot] = list(lane)
        begun = starts([slot.start for slot in slots], lateness)
        for number, slot in enumerate(slots):
            told = ranged(begun[:, number], RULES.confidence)
            for seat in slot.seats:
                found[seat.party] = min(found.get(seat.party, told), told, key=lambda one: one.likely)
    return {name: told for name, told in found.items() if told.likely <= RULES.told_minutes}


def _excesses(before: Sequence[Played]) -> Iterator[float]:
    ordered = sorted(before, key=lambda game: (game.field, game.starts))
    for _, games in groupby(ordered, key=lambda game: game.field):
        for one, after in pairwise(games):
            if after.starts - one.ends <= RULES.break_minutes:
                yield after.starts - one.starts - one.minutes - BREAK


def compared(told: Sequence[tuple[float, dict[str, Range]]], day: Day, leaves: dict[str, float]) -> Iterator[Forecast]:
    """What was told, with what came true. Who went home before the end of his range is left out: nobody can say when he would have played."""
    for now, ranges in told:
        for group, one in ranges.items():
            true = min((game.starts for game in day.games if group in game.groups and game.starts >= now), default=None)
            if true is not None or leaves[group] > now + one.high:
                yield Forecast("play", now, one, None if true is None else true - now)
