"""What a person with a pencil reads in the record about a player: a second opinion on the gate, which shares no rule with the services.

It says only what is beyond doubt; where it finds something, nobody may let the player in. It never says that he is cleared.
"""

from collections.abc import Iterable, Sequence
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
from contracts.games import GameAbandoned, GameEnded, GameStarted, HoldAsked, HoldLifted, PlayerAdmitted, PlayerOut
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
from contracts.velocity import MarkerSpotChecked, MarkerTested, SetUpChanged

Events = Sequence[Recorded[Any]]
HARMLESS = {"refill", "squeegee", "hopper", "battery"}


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
        "on a field": _on_a_field(events, player),
        "field on hold": _held(events, field),
        "marker not measured": any(_unmeasured(events, one, limit_fps) for one in _markers(events, player)),
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


def _on_a_field(events: Events, player: str) -> bool:
    """In a game that nobody ended, and nobody saw him leave it, or the park, at any time."""
    inside = {
        one.data.game
        for one in events
        if _is(one, PlayerAdmitted, player)
        or (isinstance(one.data, GameStarted) and player in {entrant.player for entrant in one.data.entrants})
    }
    over = {one.data.game for one in events if isinstance(one.data, (GameEnded, GameAbandoned))}
    seen = any(_is(one, (PlayerOut, PlayerLeft, MinorHandedOver), player) for one in events)
    return bool(inside - over) and not seen


def _held(events: Events, field: str) -> bool:
    asked = {one.data.hold for one in events if isinstance(one.data, HoldAsked) and field in one.data.fields}
    lifted = {one.data.hold for one in events if _is(one, HoldLifted, field, "field")}
    return bool(asked - lifted)


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
    """Whether it has no string of readings since its set-up last changed, or one that reaches the limit."""
    strings: list[tuple[float, ...]] = []
    for event in _in_order(events):
        match event.data:
            case SetUpChanged(marker=name, change=change) if name == marker and change not in HARMLESS:
                strings = []
            case MarkerSpotChecked(marker=name, finding=finding) if name == marker and finding != "under":
                strings = []
            case GearReleased(marker=name) if name == marker:
                strings = []
            case MarkerTested(marker=name, readings_fps=readings) if name == marker:
                strings.append(readings)
    return not strings or max(max(one) for one in strings) >= limit_fps
