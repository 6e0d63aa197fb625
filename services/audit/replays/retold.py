"""An event as other rules would have had it written: what a rule computed when it was recorded is computed anew, all else stays.

The weight of a caution, whether a game was a full one, which briefing an arrival had to hear, and what a spot check found.
"""

from collections.abc import Callable
from datetime import timedelta
from typing import Any, Final

from msgspec.structs import replace

from contracts.discipline import CautionRecorded, CautionResolved
from contracts.envelope import Data, Recorded
from contracts.games import GameEnded
from contracts.registration import PlayerRegistered
from contracts.rules import Rules
from contracts.velocity import MarkerSpotChecked
from services.velocity.judging import reaches


def retold(event: Recorded[Any], rules: Rules) -> Recorded[Any]:
    """The event under these rules; the very same object where they change nothing in it."""
    anew = _ANEW.get(type(event.data))
    data = event.data if anew is None else anew(event.data, rules)
    return event if data == event.data else replace(event, data=data)


def _weighed(data: CautionRecorded | CautionResolved, rules: Rules) -> Data:
    """A violation that these rules do not know weighs what it weighed."""
    known = (one.weight for one in rules.discipline.catalogue if one.code == data.violation)
    return replace(data, weight=next(known, data.weight))


def _ended(data: GameEnded, rules: Rules) -> Data:
    return replace(data, full=timedelta(minutes=data.played_minutes) >= timedelta(minutes=rules.games.full_minutes))


def _arrived(data: PlayerRegistered, rules: Rules) -> Data:
    return replace(data, briefing_due=rules.briefing.version)


def _spot_checked(data: MarkerSpotChecked, rules: Rules) -> Data:
    over_bench, over_stop = (
        reaches(data.speed_fps, limit, rules.velocity) for limit in (data.bench_limit_fps, data.stop_limit_fps)
    )
    return replace(data, finding="over_stop" if over_stop else "over_bench" if over_bench else "under")


_ANEW: Final[dict[type[Data], Callable[[Any, Rules], Data]]] = {
    CautionRecorded: _weighed,
    CautionResolved: _weighed,
    GameEnded: _ended,
    PlayerRegistered: _arrived,
    MarkerSpotChecked: _spot_checked,
}
