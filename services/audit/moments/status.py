"""The park's live status at a moment of the past, on both axes: what the wall would have shown, by the board's own rules."""

from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import chain
from typing import Any, Final

import msgspec

from contracts.board import Status
from contracts.envelope import Recorded
from contracts.moments import Shown, StatusAt
from services.audit.days import recorded_on, story
from services.audit.moments.corrections import as_happened
from services.audit.moments.moment import Axes, late_of, moment_of
from services.audit.moments.past import Past
from services.audit.words.scene import Scene
from services.board.at_hand import AtHand
from services.board.model import status
from services.board.notes import ARRIVAL, NOTES, SPOT_CHECK, Arrival
from services.board.verdicts import asked_fields, called_to, judge
from services.clearance import model as clearance
from services.clearance import play
from services.clearance.field import FIELD, FIELDS
from services.core.fold import Given, Subject
from services.core.folds import States
from services.core.log import Log
from services.core.rules import RULES, operating_day
from services.duty.states import FIELD_STAFF, PARK_STAFF
from services.equipment.kit import KIT
from services.games.first_aid import CALLS
from services.games.line_up import LINE_UP
from services.games.states import BESIDE, GAME
from services.park.states import HEAT, LIGHTNING
from services.velocity.measured import CHRONOS, RECENT
from services.velocity.states import CHRONO

OF_THE_BOARD: Final = frozenset({"day", "station", "unresolved"})
"""Prefixes of tags that no event bears: the board makes them."""
NOT_SHOWN: Final = frozenset({"as_of", "position", "epoch", "park", "day", "time_zone"})


async def status_at(axes: Axes, log: Log, epoch: int) -> StatusAt:
    """Both statuses, and where they differ."""
    recorded = await _status(axes.recorded, axes.recorded_at, log, epoch)
    happened = await _status(axes.happened, axes.happened_at, log, epoch)
    late = _late(axes)
    scene = Scene("", (await axes.happened.load(lambda _: ())).of(RULES, "").rules)
    return StatusAt(
        as_recorded=recorded,
        as_happened=happened,
        differences=tuple(_differences(recorded, happened, late)),
        late=tuple(late_of(event, axes.happened, scene) for event in late),
    )


async def _status(past: Past, now: datetime, log: Log, epoch: int) -> Status:
    noted = await _noted(past, now, log)
    arrivals = {one.player: one for one in _arrivals(noted)}
    given = await past.load(lambda given: _subjects(given, arrivals))
    NOTES.given(noted, given)
    moment, called = moment_of(given, past, now), called_to(given)
    verdicts = {
        player: judge(given, player, asked_fields(given, player, arrival, called), moment)
        for player, arrival in arrivals.items()
    }
    return status(AtHand(given, arrivals, verdicts, moment), log.park, epoch)


async def _noted(past: Past, now: datetime, log: Log) -> dict[str, States]:
    """What the board makes of the day's events: who came, what each station recorded last, whom nobody has named yet."""
    rules = (await past.load(lambda _: ())).of(RULES, "").rules
    on_day = await recorded_on(log, operating_day(rules, now), rules)
    until = min(on_day.last, past.known)
    events = [event async for some in story(log, msgspec.structs.replace(on_day, last=until)) for event in some]
    states: dict[str, States] = {}
    NOTES.apply(events if past.happened is None else as_happened(events, past.happened), states)
    return {tag: made for tag, made in states.items() if tag.partition(":")[0] in OF_THE_BOARD}


def _arrivals(noted: dict[str, States]) -> Iterator[Arrival]:
    at = NOTES.by_prefix["day"].index(ARRIVAL)
    return (states[at] for tag, states in noted.items() if tag.startswith("day:") and states[at].player)


def _subjects(given: Given, players: Iterable[str]) -> set[Subject]:
    """Everything that a status rests on."""
    names = given.of(FIELDS, "").names
    games = {game for name in names for game in given.of(FIELD, name).runs}
    wanted: set[Subject] = {
        (FIELDS, ""),
        (PARK_STAFF, ""),
        (CHRONOS, ""),
        (LIGHTNING, ""),
        (HEAT, ""),
        (CALLS, ""),
        *play.todays_checks(given),
    }
    wanted |= {(fold, name) for name in given.of(CHRONOS, "").names for fold in (CHRONO, RECENT)}
    wanted |= {(fold, name) for name in names for fold in (FIELD, FIELD_STAFF, BESIDE)}
    wanted |= {(fold, game) for game in games for fold in (GAME, LINE_UP)}
    for player in players:
        wanted |= clearance.subjects(player, min(names, default=""))(given)
        wanted |= {(SPOT_CHECK, marker) for marker in given.of(KIT, player).markers}
    return wanted


def _late(axes: Axes) -> list[Recorded[Any]]:
    """What counts as it happened, and was not recorded by the other moment."""
    events = axes.happened.events()
    return [events[position] for position in sorted(events) if position > axes.recorded.known]


def _differences(recorded: Status, happened: Status, late: list[Recorded[Any]]) -> Iterator[Shown]:
    one, other = (dict(_flat(msgspec.to_builtins(status))) for status in (recorded, happened))
    for where in dict.fromkeys(chain(one, other)):
        if one.get(where) != other.get(where):
            because = tuple(event.position for event in late if _bears_on(event, where))
            yield Shown(where=where, as_recorded=one.get(where), as_happened=other.get(where), because=because)


def _flat(document: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """What a status shows, by the way to it: `fields.birch.state`, `players.cleared`, `alerts`."""
    for name, value in document.items():
        if name in {"fields", "stations"}:
            for inner, shown in value.items():
                yield from ((f"{name}.{inner}.{what}", one) for what, one in shown.items())
        elif name == "players":
            yield from ((f"{name}.{what}", one) for what, one in value.items())
        elif name not in NOT_SHOWN:
            yield name, value


def _bears_on(event: Recorded[Any], where: str) -> bool:
    """Whether an event may have to do with it: of a field what bears the field's tag or names a player, of all else anything."""
    part, _, rest = where.partition(".")
    prefixes = {tag.partition(":")[0] for tag in event.tags}
    named = f"field:{rest.partition('.')[0]}" in event.tags
    return part != "fields" or named or ("field" not in prefixes and "player" in prefixes)
