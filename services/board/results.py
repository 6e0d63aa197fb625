"""The last thing that each station recorded, in a few words that name nobody."""

from collections.abc import Callable
from typing import Any, Final

from contracts.board import StationName
from contracts.discipline import (
    AppealDecided,
    CautionVoided,
    EjectionConfirmed,
    PlayerReinstated,
    SeparateActRuled,
)
from contracts.duty import DutyRefused, DutyStarted
from contracts.envelope import Data
from contracts.equipment import (
    GearInspected,
    GearIssued,
    GearQuarantined,
    GearReleased,
    GearReturned,
    IssueRefused,
    MarkerHandedOver,
    MarkerSwapped,
)
from contracts.games import (
    AdmissionRefused,
    EntryRecorded,
    FirstAidAnswered,
    FirstAidCalled,
    GameCalled,
    GameStarted,
    PlayerAdmitted,
    StartRefused,
)
from contracts.incidents import HelpArrived, HelpCalled, IncidentRecorded, PlayerFit, PlayerUnfit, TreatmentGiven
from contracts.registration import (
    BriefingHeld,
    ConsentGiven,
    MinorHandedOver,
    PassReissued,
    PaymentRecorded,
    PaymentVoided,
    PlayerLeft,
    PlayerRegistered,
    WaiverSigned,
)
from contracts.velocity import (
    ChronoAdjusted,
    ChronoChecked,
    MarkerTested,
    SetUpChanged,
    StringAbandoned,
)


def _gear(data: Any) -> str:
    return ", ".join(kind for kind in ("marker", "mask", "bottle") if getattr(data, kind) is not None)


def _tested(data: MarkerTested) -> str:
    count = len(data.readings_fps)
    if not count:
        return f"{data.marker}: nothing was read"
    return f"{data.marker}: {round(max(data.readings_fps), 1):g} ft/s fastest of {count}"


def _checked(data: ChronoChecked) -> str:
    if data.signals == ("too_few",):
        return f"{data.chrono} checked: too few shots to say"
    return f"{data.chrono} checked: {'good' if data.good else 'out of control'}"


def _refused(data: StartRefused) -> str:
    return f"start refused: {len(data.offenders)} not cleared" if data.offenders else "start refused: field not ready"


_Words = Callable[[Any], str]
_RESULTS: Final[dict[StationName, dict[type[Data], _Words]]] = {
    "desk": {
        PlayerRegistered: lambda data: f"armband {data.armband} registered",
        PassReissued: lambda _: "day pass replaced",
        PaymentRecorded: lambda data: f"{data.purpose} paid for {len(data.players)}",
        PaymentVoided: lambda data: f"payment withdrawn for {len(data.players)}",
        WaiverSigned: lambda _: "waiver signed",
        ConsentGiven: lambda _: "guardian's consent",
        PlayerLeft: lambda _: "one gone home",
        MinorHandedOver: lambda _: "minor handed over",
    },
    "briefing": {BriefingHeld: lambda data: f"{len(data.players)} briefed, {data.language}"},
    "gear counter": {
        GearIssued: lambda data: f"issued: {_gear(data)}",
        IssueRefused: lambda data: f"not issued: {_gear(data)}",
        GearInspected: lambda data: f"{_gear(data)} {'failed' if data.faults else 'passed'} inspection",
        GearReturned: lambda data: f"back: {_gear(data)}",
        GearQuarantined: lambda data: f"out of use: {_gear(data)}",
        GearReleased: lambda data: f"in use again: {_gear(data)}",
        MarkerSwapped: lambda _: "marker swapped",
        MarkerHandedOver: lambda _: "marker handed over",
    },
    "chronograph": {
        MarkerTested: _tested,
        StringAbandoned: lambda data: f"{data.marker}: not shot",
        ChronoChecked: _checked,
        ChronoAdjusted: lambda data: f"{data.chrono} worked on: {data.work}",
        SetUpChanged: lambda data: f"{data.marker}: {data.change.replace('_', ' ')} changed",
    },
    "staging": {
        GameCalled: lambda data: f"{len(data.entrants)} called",
        GameStarted: lambda data: f"{len(data.entrants)} let in",
        StartRefused: _refused,
        PlayerAdmitted: lambda _: "one let in",
        EntryRecorded: lambda data: f"one let in offline{': not cleared' if data.stale or data.reasons else ''}",
        AdmissionRefused: lambda _: "one turned back",
    },
    "first aid": {
        PlayerUnfit: lambda _: "one not to play",
        PlayerFit: lambda _: "one fit again",
        IncidentRecorded: lambda data: f"recorded: {data.kind.replace('_', ' ')}",
        FirstAidCalled: lambda data: f"called to {data.field}",
        FirstAidAnswered: lambda data: "a call answered" if data.came else "called by mistake",
        HelpCalled: lambda data: f"{data.service.replace('_', ' ')} called",
        HelpArrived: lambda data: f"{data.service.replace('_', ' ')} came",
        TreatmentGiven: lambda _: "first aid given",
    },
    "head referee": {
        CautionVoided: lambda _: "caution withdrawn",
        SeparateActRuled: lambda _: "ruled a separate act",
        EjectionConfirmed: lambda _: "ejection confirmed",
        PlayerReinstated: lambda _: "one reinstated",
        AppealDecided: lambda data: f"appeal {'upheld' if data.upheld else 'turned down'}",
    },
    "manager": {
        DutyStarted: lambda data: f"{data.post.replace('_', ' ')} on duty",
        DutyRefused: lambda data: f"duty refused: {data.post.replace('_', ' ')}",
    },
}
STATIONS: Final[tuple[StationName, ...]] = tuple(_RESULTS)
station_of: Final[dict[type[Data], StationName]] = {
    data: station for station, results in _RESULTS.items() for data in results
}
"""The station at which each class of event is made."""


def words(data: Data) -> str:
    """What happened, for a screen that everybody sees."""
    return _RESULTS[station_of[type(data)]][type(data)](data)
