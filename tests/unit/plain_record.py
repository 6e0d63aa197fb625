"""What a person with a pencil reads in the record about a player: a second opinion on the gate, which shares no rule with the services.

It says only what is beyond doubt; where it finds something, nobody may let the player in. It never says that he is cleared.
"""

from collections.abc import Iterable, Sequence
from datetime import timedelta
from typing import Any

from contracts.discipline import AppealDecided, CautionRecorded, CautionResolved, CautionVoided, PlayerReinstated
from contracts.envelope import Recorded
from contracts.equipment import (
    GearIssued,
    GearReleased,
    GearReturned,
    MarkerHandedOver,
    MarkerRegistered,
    MarkerSwapped,
)
from contracts.games import (
    EntryRecorded,
    GameAbandoned,
    GameEnded,
    GameStarted,
    HoldAsked,
    HoldLifted,
    PlayerAdmitted,
    PlayerOut,
)
from contracts.park import FlashSeen, ThunderHeard, WeatherRecorded
from contracts.registration import (
    BriefingHeld,
    ConsentGiven,
    ConsentWithdrawn,
    MinorHandedOver,
    PaymentRecorded,
    PaymentVoided,
    PlayerLeft,
    PlayerRegistered,
    PlayerReturned,
    WaiverSigned,
)
from contracts.velocity import (
    ChronoAdjusted,
    ChronoChecked,
    MarkerSpotChecked,
    MarkerTested,
    SetUpChanged,
    StringOpened,
)

Events = Sequence[Recorded[Any]]
HARMLESS = {"refill", "squeegee", "hopper", "battery"}
SHOTS = 3
A_CHECK_HOLDS = timedelta(hours=4)
THIRTY_MINUTES = timedelta(minutes=30)
"""After the last flash or thunder: guideline of the US National Weather Service and the NCAA, as secondary texts state it."""


def against(events: Events, player: str, field: str, limit_fps: float) -> set[str]:
    """What speaks against a player on a field whose limit is `limit_fps`, after these events."""
    registered = next((one.data for one in events if _is(one, PlayerRegistered, player)), None)
    if registered is None:
        return {"a stranger"}
    found = {
        "not paid": not _paid(events, player),
        "not signed": not any(_is(one, WaiverSigned, registered.person, "person") for one in events),
        "not briefed": not any(isinstance(one.data, BriefingHeld) and player in one.data.players for one in events),
        "no consent": registered.age_band < 18 and not _consented(events, registered.person),
        "gone": _gone(events, player),
        "cautioned too often": _sent_home(events, player),
        "on a field": _on_a_field(events, player, field),
        "field on hold": held(events, field),
        "marker not measured": any(_unmeasured(events, one, limit_fps) for one in _markers(events, player)),
        "chronograph not trusted": any(_mistrusted(events, one, limit_fps) for one in _markers(events, player)),
        "no marker": not _markers(events, player),
    }
    return {what for what, so in found.items() if so}


def _is(event: Recorded[Any], kind: Any, name: str, attribute: str = "player") -> bool:
    return isinstance(event.data, kind) and getattr(event.data, attribute) == name


def _in_order(events: Iterable[Recorded[Any]]) -> list[Recorded[Any]]:
    """As it happened, whenever it was recorded."""
    return sorted(events, key=lambda one: (one.occurred_at, one.position))


def _paid(events: Events, player: str) -> bool:
    voided = {one.data.payment for one in events if isinstance(one.data, PaymentVoided)}
    return any(
        player in one.data.players and one.data.payment not in voided and one.data.purpose == "entry"
        for one in events
        if isinstance(one.data, PaymentRecorded)
    )


def _consented(events: Events, person: str) -> bool:
    said = _in_order(one for one in events if _is(one, (ConsentGiven, ConsentWithdrawn), person, "person"))
    return bool(said) and isinstance(said[-1].data, ConsentGiven)


def _gone(events: Events, player: str) -> bool:
    left = any(_is(one, (PlayerLeft, MinorHandedOver), player) for one in events)
    return left and not any(_is(one, PlayerReturned, player) for one in events)


def _sent_home(events: Events, player: str) -> bool:
    """Two cautions that stand eject, or wait for the head referee; so does one that weighs two."""
    back = max((one.position for one in events if _is(one, PlayerReinstated, player)), default=0)
    voided = {
        one.data.caution
        for one in events
        if isinstance(one.data, CautionVoided) or (isinstance(one.data, AppealDecided) and one.data.upheld)
    }
    weights = [
        one.data.weight
        for one in events
        if _is(one, (CautionRecorded, CautionResolved), player)
        and one.position > back
        and one.data.caution not in voided
    ]
    return sum(weights) >= 2


def _on_a_field(events: Events, player: str, field: str) -> bool:
    """He last went in for what nobody has ended, and nobody saw him leave it, or the park, at any time."""
    last = last_in(events, player)
    if last is None or waits_inside(last, field):
        return False
    over = {one.data.game for one in events if isinstance(one.data, (GameEnded, GameAbandoned))}
    seen = any(_is(one, (PlayerOut, PlayerLeft, MinorHandedOver), player) for one in events)
    return last.data.game not in over and not seen


def last_in(events: Events, player: str) -> Recorded[Any] | None:
    """His latest way onto a field, as it happened: with a start, by the gate's leave, or let in while the gate had no network."""
    ways = (
        one
        for one in events
        if _is(one, (PlayerAdmitted, EntryRecorded), player)
        or (isinstance(one.data, GameStarted) and player in {entrant.player for entrant in one.data.entrants})
    )
    return max(ways, key=lambda one: (one.occurred_at, one.position), default=None)


def waits_inside(last: Recorded[Any], field: str) -> bool:
    """Whether he went in while the gate had no network, for no game yet: on that very field one may start with him."""
    return _is(last, EntryRecorded, field, "field") and last.data.game is None


def held(events: Events, field: str) -> bool:
    asked = {one.data.hold for one in events if isinstance(one.data, HoldAsked) and field in one.data.fields}
    lifted = {one.data.hold for one in events if _is(one, HoldLifted, field, "field")}
    return bool(asked - lifted)


def weather_against(events: Events, lift: Recorded[Any]) -> str | None:
    """What of the sky speaks against lifting a hold by the weather then: by the park's default rules, of what was recorded by then."""
    asked = [one.data for one in events if _is(one, HoldAsked, lift.data.hold, "hold")]
    if not any(one.cause == "weather" for one in asked):
        return None
    seen = [one.occurred_at for one in events if isinstance(one.data, (ThunderHeard, FlashSeen))]
    if any(lift.occurred_at < moment + THIRTY_MINUTES for moment in seen):
        return "lightning was seen or heard less than thirty minutes before"
    measured = _in_order(one for one in events if _measured(one))
    return "it was last measured too hot to play" if measured and _hot(measured[-1]) else None


def stops_play(events: Events, event: Recorded[Any]) -> bool:
    """Whether this stops play by the park's default rules: thunder of the last thirty minutes, or the newest measurement of the heat."""
    if isinstance(event.data, ThunderHeard):
        return event.recorded_at < event.occurred_at + THIRTY_MINUTES
    newer = [one for one in events if _measured(one) and one.occurred_at > event.occurred_at]
    return _measured(event) and _hot(event) and not newer


def _measured(event: Recorded[Any]) -> bool:
    return isinstance(event.data, WeatherRecorded) and event.data.humidity_percent is not None


def _hot(event: Recorded[Any]) -> bool:
    """Of the two weathers that this park knows, one is hot."""
    return bool(event.data.temperature_c > 35)


def _markers(events: Events, player: str) -> set[str]:
    """The markers that were last in his hands."""
    hands: dict[str, str | None] = {}
    for event in _in_order(events):
        match event.data:
            case MarkerRegistered(marker=marker, owner=taker) if taker:
                hands[marker] = taker
            case GearIssued(marker=marker, player=taker) | MarkerHandedOver(marker=marker, taker=taker) if marker:
                hands[marker] = taker
            case GearReturned(marker=marker, player=giver) if marker and hands.get(marker) == giver:
                hands[marker] = None
            case MarkerSwapped(returned=returned, marker=marker, player=taker):
                hands |= {returned: None, marker: taker}
    return {marker for marker, holder in hands.items() if holder == player}


def _unmeasured(events: Events, marker: str, limit_fps: float) -> bool:
    """Whether it has no string of readings since its set-up last changed, or one that reaches the limit, or its latest decides nothing."""
    strings = [one.data for one in _strings(events, marker)]
    return (
        not strings
        or any(max(one.readings_fps, default=0) >= limit_fps for one in strings)
        or len(strings[-1].readings_fps) < SHOTS
        or strings[-1].low_pressure
        or any((one.speed_fps or 0) >= limit_fps for one in strings[-1].misreads)
    )


def _strings(events: Events, marker: str) -> list[Recorded[Any]]:
    """The strings of its present set-up, as they happened; one in whose midst the set-up changed is of none."""
    strings: list[Recorded[Any]] = []
    opened: set[str] = set()
    spoiled: set[str] = set()
    for event in _in_order(one for one in events if f"marker:{marker}" in one.tags):
        data = event.data
        match data:
            case StringOpened():
                opened.add(data.test)
            case MarkerTested() if data.test not in spoiled:
                strings.append(event)
            case GearReleased() | SetUpChanged() | MarkerSpotChecked():
                harmless = getattr(data, "change", "") in HARMLESS or getattr(data, "finding", "") == "under"
                if not harmless:
                    strings, spoiled = [], spoiled | opened
    return strings


def _mistrusted(events: Events, marker: str, limit_fps: float) -> bool:
    """Whether the checks on either side of its latest string say that what the chronograph read cannot be taken as it stands."""
    strings = _strings(events, marker)
    if not strings:
        return False
    latest = strings[-1]
    said = [
        one
        for one in _in_order(events)
        if _is(one, (ChronoChecked, ChronoAdjusted), latest.data.chrono, "chrono") and _says_something(one)
    ]
    before = [one for one in said if (one.occurred_at, one.position) < (latest.occurred_at, latest.position)]
    after = said[len(before) :]
    if not before or isinstance(before[-1].data, ChronoAdjusted) or not before[-1].data.good:
        return True
    if not after:
        return latest.occurred_at - before[-1].occurred_at > A_CHECK_HOLDS
    found = after[0].data
    if isinstance(found, ChronoAdjusted):
        return True
    return not found.good and (
        found.bias_fps is None or max(latest.data.readings_fps, default=0) - found.bias_fps >= limit_fps
    )


def _says_something(event: Recorded[Any]) -> bool:
    """A check of too few shots that shows nothing amiss does not."""
    return not isinstance(event.data, ChronoChecked) or event.data.signals != ("too_few",)
