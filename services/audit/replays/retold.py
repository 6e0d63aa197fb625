"""An event as other rules would have had it written: what a rule computed when it was recorded is computed anew, all else stays.

The weight of a caution, whether a game was a full one, which briefing an arrival had to hear, which of what a chronograph showed was a reading, whether
its check was good, and what a spot check found by the limits of the field, the park and the law.
"""

from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Any, Final

from msgspec.structs import replace

from contracts.discipline import CautionRecorded, CautionResolved
from contracts.envelope import Data, Recorded
from contracts.games import GameEnded
from contracts.registration import PlayerRegistered
from contracts.rules import Rules
from contracts.velocity import CheckChrono, ChronoChecked, MarkerSpotChecked, MarkerTested
from services.clearance.field import FIELD
from services.core.fold import Given, Subject
from services.core.rules import RULES
from services.velocity.chronos import checked
from services.velocity.limits import of_field
from services.velocity.misreads import sorted_anew
from services.velocity.spot_checks import spot_found
from services.velocity.states import BENCH, CHRONO


def rests_on(event: Recorded[Any]) -> Iterable[Subject]:
    """What `retold` reads beside the event."""
    data = event.data
    if isinstance(data, MarkerTested):
        return {(RULES, "")}
    if isinstance(data, ChronoChecked):
        return {(RULES, ""), (CHRONO, data.chrono)}
    return {(FIELD, data.field), (BENCH, data.marker)} if isinstance(data, MarkerSpotChecked) else ()


def retold(event: Recorded[Any], rules: Rules, given: Given) -> Recorded[Any]:
    """The event under these rules; the very same object where they change nothing in it.

    `given`: the field, the marker and the chronograph as these rules had left them, and the rules under which it was recorded.
    """
    anew = _ANEW.get(type(event.data))
    data = event.data if anew is None else anew(event, rules, given)
    return event if data == event.data else replace(event, data=data)


def _weighed(event: Recorded[CautionRecorded | CautionResolved], rules: Rules, _: Given) -> Data:
    """A violation that these rules do not know weighs what it weighed."""
    known = (one.weight for one in rules.discipline.catalogue if one.code == event.data.violation)
    return replace(event.data, weight=next(known, event.data.weight))


def _ended(event: Recorded[GameEnded], rules: Rules, _: Given) -> Data:
    return replace(
        event.data, full=timedelta(minutes=event.data.played_minutes) >= timedelta(minutes=rules.games.full_minutes)
    )


def _arrived(event: Recorded[PlayerRegistered], rules: Rules, _: Given) -> Data:
    return replace(event.data, briefing_due=rules.briefing.version)


def _tested(event: Recorded[MarkerTested], rules: Rules, given: Given) -> Data:
    """Who shot on because of a misread shot on all the same: a string may come to have more readings than the rule asks for, or fewer."""
    then, now = given.of(RULES, "").rules.velocity, rules.velocity
    if (then.no_shot_fps, then.impossible_fps) == (now.no_shot_fps, now.impossible_fps):
        return event.data
    readings, misreads = sorted_anew(event.data.readings_fps, event.data.misreads, then, now)
    return replace(event.data, readings_fps=readings, misreads=misreads)


def _checked(event: Recorded[ChronoChecked], rules: Rules, given: Given) -> Data:
    """By the charts of the other rules, at the moment when it was made."""
    data, then = event.data, given.of(RULES, "").rules.velocity
    if then.chrono == rules.velocity.chrono:
        return data
    asked = CheckChrono(
        chrono=data.chrono,
        good="person" not in data.signals,
        bias_fps=data.bias_fps,
        readings_fps=data.readings_fps,
        reference_fps=data.reference_fps,
    )
    place = (event.occurred_at, event.position)
    return checked(asked, given.of(CHRONO, data.chrono), place, rules.velocity.chrono)


def _spot_checked(event: Recorded[MarkerSpotChecked], rules: Rules, given: Given) -> Data:
    data = event.data
    configured = given.of(FIELD, data.field).configured
    if configured is None:
        return data
    found = spot_found(data.speed_fps, given.of(BENCH, data.marker), of_field(configured), rules.velocity)
    return replace(data, **found._asdict())


_ANEW: Final[dict[type[Data], Callable[[Any, Rules, Given], Data]]] = {
    CautionRecorded: _weighed,
    CautionResolved: _weighed,
    GameEnded: _ended,
    PlayerRegistered: _arrived,
    MarkerTested: _tested,
    ChronoChecked: _checked,
    MarkerSpotChecked: _spot_checked,
}
