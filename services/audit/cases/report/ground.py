"""Where it happened: the field, its staff, the game, and when play stopped."""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from typing import Any, Final

from contracts.duty import DutyEnded, DutyStarted, StaffRegistered
from contracts.envelope import Data, Recorded
from contracts.games import (
    FieldConfigured,
    FieldInspected,
    FirstAidAnswered,
    FirstAidCalled,
    GameBriefed,
    GameEnded,
    GameStarted,
    HoldAsked,
    HoldConfirmed,
    HoldLifted,
)
from services.audit.cases.report import particulars
from services.audit.cases.report.asking import Asking
from services.audit.cases.report.content import Item
from services.audit.cases.report.moments import counted, plainly

HOUR: Final = timedelta(hours=1)


def ground(asking: Asking) -> Iterator[Item]:
    field, game = asking.incident.data.field, asking.incident.data.game
    yield asking.item("Field and its limits", asking.before(FieldConfigured, field=field)[-1:], particulars.limits)
    yield asking.item(
        "Field inspection",
        asking.before(FieldInspected, field=field)[-1:],
        lambda one: "passed" if one.data.passed else "failed",
    )
    referees = _on_duty(asking, "referee", field)
    yield asking.item(
        "Referees on the field",
        referees,
        lambda one: f"{one.data.staff}, qualified until {one.data.qualified_until}",
    )
    yield _training(asking, referees)
    started = asking.before(GameStarted, game=game)[-1:] if game else []
    yield _ratio(asking, referees, started)
    yield asking.item(
        "First aiders on duty",
        _on_duty(asking, "first_aider", None),
        lambda one: f"{one.data.staff}, qualified until {one.data.qualified_until}",
    )
    yield asking.item(
        "Briefed at the gate",
        asking.before(GameBriefed, game=game) if game else [],
        lambda one: f"game {one.data.game}",
    )
    yield asking.item("Game started", started, lambda one: f"{plainly(one.data.format)}, {one.data.minutes:g} minutes")
    yield asking.item("Play stopped", _stops(asking, started, HoldAsked, HoldConfirmed), particulars.hold)
    yield asking.item(
        "Play resumed", _stops(asking, started, HoldLifted), lambda one: f"hold {one.data.hold} lifted after a sweep"
    )
    yield asking.item("First aid called to the field, and came", _first_aid(asking), _aid)
    yield asking.item(
        "Game ended",
        asking.standing(GameEnded, game=game) if game else [],
        lambda one: f"after {one.data.played_minutes:.1f} minutes of play",
    )


def _stops(asking: Asking, started: Sequence[Recorded[Any]], *kinds: type[Data]) -> list[Recorded[Any]]:
    """What became, on that field, of the holds that were asked for in that game or within the hour."""
    field, at = asking.incident.data.field, asking.incident.occurred_at
    begun = started[0].occurred_at if started else at - HOUR
    asked = [one for one in asking.standing(HoldAsked) if field in one.data.fields]
    holds = {one.data.hold for one in asked if begun <= one.occurred_at <= at + HOUR}
    return [
        one for one in asking.standing(*kinds) if one.data.hold in holds and getattr(one.data, "field", field) == field
    ]


def _first_aid(asking: Asking) -> list[Recorded[Any]]:
    """The calls for first aid to that field within the hour, and their answers."""
    field, at = asking.incident.data.field, asking.incident.occurred_at
    told = asking.standing(FirstAidCalled, FirstAidAnswered, field=field) if field else []
    return [one for one in told if at - HOUR <= one.occurred_at <= at + HOUR]


def _aid(event: Recorded[Any]) -> str:
    if isinstance(event.data, FirstAidAnswered):
        return "a first aider came" if event.data.came else "called by mistake"
    return "called to the gate" if event.data.place == "gate" else "called onto the field"


def _on_duty(asking: Asking, post: str, field: str | None) -> list[Recorded[Any]]:
    """The last start of everybody who was on that post when it happened."""
    on: dict[str, Recorded[Any]] = {}
    for one in asking.before(DutyStarted, DutyEnded):
        if isinstance(one.data, DutyEnded):
            on.pop(one.data.staff, None)
        elif one.data.post == post and (field is None or one.data.field == field):
            on[one.data.staff] = one
        elif one.data.left == field and post == "referee":
            on.pop(one.data.staff, None)
    return list(on.values())


def _training(asking: Asking, referees: Sequence[Recorded[Any]]) -> Item:
    names = {one.data.staff for one in referees}
    entered = [one for one in asking.case.of(StaffRegistered) if one.data.staff in names]
    return asking.item("Their training, as entered", entered, particulars.qualified)


def _ratio(asking: Asking, referees: Sequence[Recorded[Any]], started: Sequence[Recorded[Any]]) -> Item:
    if not started:
        return Item("Players for each referee")
    players, staff = len(started[0].data.entrants), len(referees)
    rule = f"the rule: at most {asking.rules.games.players_per_referee}"
    said = f"{players} players started, {counted(staff, 'referee')} on duty; {rule}"
    return Item("Players for each referee", said, (started[0].position, *(one.position for one in referees)))
