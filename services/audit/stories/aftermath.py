"""What followed from an event by the rules: for whoever was cautioned or unfit, and for the marker that was measured."""

from collections.abc import Callable
from typing import Any, Final

from msgspec import Struct

from contracts.discipline import (
    AppealDecided,
    CautionRecorded,
    CautionResolved,
    CautionVoided,
    EjectionConfirmed,
    PlayerReinstated,
    SeparateActRuled,
)
from contracts.envelope import Data, Recorded
from contracts.equipment import GearReleased
from contracts.games import PlayerOut
from contracts.incidents import InjuryRecorded, PlayerFit, PlayerUnfit
from contracts.velocity import ChronoAdjusted, ChronoChecked, MarkerSpotChecked, MarkerTested, SetUpChanged
from services.audit.stories.background import Background
from services.audit.stories.plight import Plight, difference
from services.audit.words.scene import together
from services.velocity.judging import Shot, verdict
from services.velocity.limits import ball_mass, of_field, strictest
from services.velocity.states import HARMLESS, decides

ABOUT_ONE: Final = (
    AppealDecided, CautionRecorded, CautionResolved, CautionVoided, EjectionConfirmed, InjuryRecorded, PlayerFit, PlayerOut,
    PlayerReinstated, PlayerUnfit, SeparateActRuled,
)  # fmt: skip
"""Events that may change what is held against the one player whom they name."""
_VERDICTS: Final = {"pass": "passes for", "turn_down": "is too fast for", "inconclusive": "decides nothing for"}


def concerned(event: Recorded[Any]) -> str | None:
    """The one player against whom something may be held, or no longer be held, from this event on."""
    data = event.data
    if isinstance(data, PlayerOut) and data.cause != "injured":
        return None
    return data.player if isinstance(data, ABOUT_ONE) else None


class Followed(Struct, frozen=True):
    """What followed, in words: for the player concerned, and for a marker or a chronograph."""

    for_player: str = ""
    for_gear: str = ""

    @property
    def words(self) -> str:
        return " ".join(part for part in (self.for_player, self.for_gear) if part)


class Consequences:
    """Follows a story event by event. `player`: the one whose own story it is, followed through whatever bears on him."""

    def __init__(self, player: str | None) -> None:
        self.background = Background()
        self._player = player
        self._last: Plight | None = None

    def take(self, event: Recorded[Any]) -> Followed:
        """One more event; returns what followed from it."""
        player = self._concerned(event)
        before = None if player is None else self._before(player, event)
        self.background.take(event)
        gear = _GEAR.get(type(event.data))
        for_gear = "" if gear is None else gear(event.data, self.background)
        if player is None or before is None:
            return Followed("", for_gear)
        after = self.background.plight(player, event.recorded_at)
        if player == self._player:
            self._last = after
        return Followed(difference(player, before, after), for_gear)

    def _concerned(self, event: Recorded[Any]) -> str | None:
        if self._player is None:
            return concerned(event)
        return self._player if self.background.bears_on(self._player, event) else None

    def _before(self, player: str, event: Recorded[Any]) -> Plight:
        """As the story had left him: the minutes of a continuous game may have served his sit-out since."""
        if player == self._player and self._last is not None:
            return self._last
        return self.background.plight(player, event.recorded_at)


def _tested(data: MarkerTested, background: Background) -> str:
    """Of one string alone: one that was too fast before, in the same set-up, still counts against the marker."""
    rules = background.rules.velocity
    calibre = background.calibres.get(data.marker)
    ball_g = ball_mass(calibre, data.ball_g, rules)
    string = Shot(
        data.readings_fps,
        ball_g,
        data.misreads,
        low_pressure=data.low_pressure,
        rate_bps=data.rate_bps,
        firing_mode=background.modes.get(data.marker, "semi"),
    )
    fields: dict[str, list[str]] = {}
    for field in background.fields.values():
        bound = strictest(of_field(field), ball_g, rules)
        found, _ = verdict(string, bound, rules)
        fields.setdefault(found, []).append(f"{field.field} ({bound.stated})")
    told = [f"{_VERDICTS[found]} {together(names)}" for found, names in fields.items()]
    return f"By itself this string {'; it '.join(told)}." if told else ""


def _changed(data: SetUpChanged, _: Background) -> str:
    return "" if data.change in HARMLESS else _void(data.marker)


def _spot_checked(data: MarkerSpotChecked, _: Background) -> str:
    return "" if data.finding == "under" else _void(data.marker)


def _released(data: GearReleased, _: Background) -> str:
    return _void(data.marker) if data.marker else ""


def _void(marker: str) -> str:
    return f"No test of marker {marker} from before this counts any more: it has to be measured anew."


def _chrono_checked(data: ChronoChecked, _: Background) -> str:
    if data.good:
        return ""
    if not decides(data.signals):
        return "It neither opens nor closes it."
    if data.bias_fps is None:
        return (
            "Nothing that it measured since its last good check counts, nor what it measures before the next good one."
        )
    return (
        f"What it measured since its last good check counts only where it passes corrected by {round(-data.bias_fps, 2):+g} ft/s, or by what the mean of "
        "its checks was off where that reads lower; what it measures before the next good check does not count."
    )


def _chrono_adjusted(_: ChronoAdjusted, __: Background) -> str:
    return (
        "Nothing that it measured since its last check counts any more, nor what it measures before the next good one."
    )


_GEAR: Final[dict[type[Data], Callable[[Any, Background], str]]] = {
    MarkerTested: _tested,
    SetUpChanged: _changed,
    MarkerSpotChecked: _spot_checked,
    GearReleased: _released,
    ChronoChecked: _chrono_checked,
    ChronoAdjusted: _chrono_adjusted,
}
