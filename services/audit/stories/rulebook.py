"""The rule that an event fell under, from the version of the park rules in force, in words.

Only what the services do is told: each sentence stands beside the model that it tells of. Eye protection is in none of them: no rule
waives it. Common practice, no source; local law, the insurer's rules and licensed practice come first.
"""

from collections.abc import Callable
from typing import Any, Final

from contracts.discipline import (
    AppealDecided,
    AppealRaised,
    CautionRecorded,
    CautionResolved,
    CautionVoided,
    EjectionConfirmed,
    PlayerReinstated,
    SeparateActRuled,
)
from contracts.duty import CheckDone, DutyRefused, DutyStarted
from contracts.envelope import Data, Recorded
from contracts.equipment import (
    BottleRegistered,
    BottleRequalified,
    GearInspected,
    GearIssued,
    GearQuarantined,
    GearReleased,
    IssueRefused,
    MarkerHandedOver,
    MarkerSwapped,
)
from contracts.games import (
    AdmissionRefused,
    EntryRecorded,
    FieldInspected,
    FieldSwept,
    GameAbandoned,
    GameEnded,
    GameStarted,
    HeadsCounted,
    HoldAsked,
    HoldConfirmed,
    HoldLifted,
    OutVoided,
    PaintCheckVoided,
    PlayerAdmitted,
    PlayerFound,
    PlayerOut,
    StartRefused,
)
from contracts.incidents import (
    CustodyPassed,
    CustodyTaken,
    EntryWithdrawn,
    IncidentClosed,
    IncidentRecorded,
    InjuryRecorded,
    PlayerFit,
    PlayerUnfit,
)
from contracts.park import FlashSeen, RulesAdopted, ThunderHeard, WeatherRecorded
from contracts.registration import (
    BriefingHeld,
    ConsentGiven,
    ConsentWithdrawn,
    GuardianLeft,
    MinorHandedOver,
    PassReissued,
    PaymentRecorded,
    PersonBanned,
    PlayerRegistered,
    RefundGranted,
    RefundRefused,
    RotationAssigned,
    WaiverSigned,
)
from contracts.rules import Rules
from contracts.velocity import ChronoChecked, MarkerSpotChecked, MarkerTested, SetUpChanged, SpotCheckVoided
from services.audit.stories.background import Background
from services.audit.words.judging import judged, left_out, strictest
from services.audit.words.scene import count
from services.audit.words.weather import lightning
from services.park import heat
from services.registration.model import is_minor
from services.registration.money import ENTRY

_WEIGHTS: Final = {0: "is a note, without consequence", 1: "weighs one caution", 2: "weighs two cautions"}


def rule(event: Recorded[Any], background: Background) -> str:
    """The rule in force at an event's position, empty where it falls under none."""
    find = _RULES.get(type(event.data))
    return "" if find is None else find(event, background)


def _cautioned(event: Recorded[Any], background: Background) -> str:
    """What the act weighs by the catalogue of when it happened; what follows by the rules in force when it was recorded."""
    data = event.data
    happened = data.happened_at if isinstance(data, CautionResolved) else event.occurred_at
    rules, violation = background.violation(data.violation, happened)
    title = violation.title if violation else data.violation
    told = f"Under rules {rules.version}, \N{LEFT DOUBLE QUOTATION MARK}{title}\N{RIGHT DOUBLE QUOTATION MARK} {_WEIGHTS[data.weight]}."
    return f"{told} {_weighing(data.weight, rules, background.rules)}".strip()


def _weighing(weight: int, then: Rules, now: Rules) -> str:
    law = now.discipline
    if weight == 0:
        return ""
    under = "By them" if then is now else f"Under rules {now.version}"
    if weight == 2:
        return f"{under} it stands a player down at once; if the head referee confirms it, he is ejected and the entry forfeited."
    near = f"an entry within {law.one_act_minutes:g} minutes of another counts only once the head referee rules it a separate act"
    return (
        f"{under} one caution owes a full game of the player's rotation to sit out; {law.cautions_to_eject} in a day eject "
        f"and forfeit the entry; {near}."
    )


def _tested(_: Recorded[Any], background: Background) -> str:
    law = background.rules.velocity
    return " ".join(
        filter(
            None,
            (
                f"Under rules {background.rules.version}, a test needs {judged(law)}.",
                strictest(law),
                f"A spread over {law.spread_fps:g} ft/s, a reading under {law.lowest_fps:g} ft/s or low pressure decides nothing.",
                left_out(law),
                "No reading is struck out for being high.",
            ),
        )
    )


def _spot_checked(event: Recorded[Any], background: Background) -> str:
    law = background.rules.velocity
    bound = "at or over" if law.comparison == "<" else "over"
    told = (
        f"Under rules {background.rules.version}, a marker {bound} the bench limit of {round(event.data.bench_limit_fps, 1):g} ft/s is covered, "
        "taken off the field and measured anew. It is no caution: only tampering is."
    )
    return f"{told} {strictest(law)}".strip()


def _admission(event: Recorded[Any], background: Background) -> str:
    law, version = background.rules.games, event.data.basis.rules
    whole = "nobody enters who is not cleared"
    if isinstance(event.data, GameStarted | StartRefused):
        whole = "a game starts with everybody on its list cleared, or with nobody"
    return (
        f"Under rules {version}, {whole}. It takes a referee for every {law.players_per_referee} players or part of them, "
        f"and {count(law.first_aiders, 'first aider')} on duty."
    )


def _ended(event: Recorded[Any], background: Background) -> str:
    law, version = background.rules.games, background.rules.version
    if event.data.format == "continuous":
        return (
            f"Under rules {version}, {law.continuous_sit_out_minutes:g} minutes of a continuous game, played without a player who "
            "is on the park, serve his sit-out."
        )
    return (
        f"Under rules {version}, a game of at least {law.full_minutes:g} minutes, holds not counted, is full. It serves the sit-out of "
        "a player of its rotation who was on the park, not on its list, and had been cautioned for something before it started."
    )


def _lightning(_: Recorded[Any], background: Background) -> str:
    return f"Under rules {background.rules.version}: {lightning(background.rules.weather.lightning)}"


def _heat(event: Recorded[Any], background: Background) -> str:
    demand = heat.demanded(heat.hot(event.data), background.rules)
    return f"Under rules {background.rules.version}: {heat.ADVICE[demand]}" if demand else ""


def _refund(event: Recorded[Any], background: Background) -> str:
    after = "" if background.rules.money.refund_after_start else ", and it is not refunded once a game was played"
    return (
        f"Under rules {event.data.basis.rules}, entry is forfeited by an ejection{after}; nobody is paid back more than was paid, or "
        "more than his own share. A manager may override all but the sum that was paid, with a reason on record."
    )


def _paid(event: Recorded[Any], _: Background) -> str:
    if event.data.purpose not in ENTRY:
        return ""
    return "A deposit on the entry, a voucher and a group's account count as paid. An ejection forfeits the entry."


def _registered(event: Recorded[Any], background: Background) -> str:
    due = f"version {event.data.briefing_due} of the safety briefing, or a later one"
    told = f"Under rules {background.rules.version}, he must have heard {due}."
    if is_minor(event.data.age_band, background.rules):
        told += f" Under {background.rules.waiver.majority_years} years, his own parent or legal guardian must have consented."
    return told


def _signed(event: Recorded[Any], background: Background) -> str:
    law = background.rules.waiver
    accepted = "is accepted" if event.data.wording in law.accepted else "is not accepted"
    return (
        f"Under rules {background.rules.version}, wording {event.data.wording} {accepted}; a signature counts for "
        f"{count(law.valid_days, 'day')}. Whether it binds is for local law."
    )


def _briefed(_: Recorded[Any], background: Background) -> str:
    law = background.rules.briefing
    return (
        f"Under rules {background.rules.version}, arrivals hear version {law.version}; everybody must have heard version "
        f"{law.urgent_version} or a later one."
    )


def _duty(event: Recorded[Any], _: Background) -> str:
    return (
        f"Under rules {event.data.basis.rules}, only who holds a qualification in date for a post is put on duty there."
    )


def _adopted(event: Recorded[Any], _: Background) -> str:
    return f"Version {event.data.rules.version} holds from its recording on, for everybody alike."


def _out(event: Recorded[Any], _: Background) -> str:
    return _UNFIT if event.data.cause == "injured" else ""


def _mistaken(_: Recorded[Any], background: Background) -> str:
    minutes = background.rules.games.undo_minutes
    return (
        f"Under rules {background.rules.version}, what was recorded by mistake is withdrawn by the device that did so within {minutes:g} minutes, "
        "or by the head referee or a manager. It stays on the record."
    )


def _released(event: Recorded[Any], _: Background) -> str:
    return "A marker that comes back into use must be measured anew." if event.data.marker else ""


def _checked(event: Recorded[CheckDone], background: Background) -> str:
    """Only an opening check keeps a field shut."""
    listed = (one for one in background.rules.duty.checks if one.code == event.data.check)
    check = next(listed, None)
    if check is None or not check.play_waits or event.data.when == "closing":
        return ""
    where = "on the field" if check.each_field else "anywhere"
    return f"Under rules {background.rules.version}, no game starts {where} until \N{LEFT DOUBLE QUOTATION MARK}{check.title}\N{RIGHT DOUBLE QUOTATION MARK} has passed."


def _always(sentence: str) -> Callable[[Recorded[Any], Background], str]:
    return lambda *_: sentence


_EVIDENCE: Final = "Gear that an incident names is impounded uncleaned, and only a manager releases it."
_UNFIT: Final = "Whoever is unfit, was hurt or came off a field injured, plays again only once a first aider or a manager has declared him fit."
_INSPECTED: Final = (
    "A player's own gear is inspected anew each day, a marker with a barrel cover that fits. Any fault fails it."
)
_ISSUED: Final = (
    "Gear has one holder at a time; nothing that is out of use, failed or past its test date is handed out."
)
_HOLD: Final = "Any of the staff may stop play. Only a person resumes it, field by field, after a sweep; masks stay on until outside the netting."
_HEADS: Final = (
    "A field is released once every head is accounted for, or a referee has walked it and signed that it is empty."
)


def _entry(_: Recorded[Any], background: Background) -> str:
    rules = background.rules
    return (
        f"Under rules {rules.version}, a gate without a network says that somebody is cleared for {rules.offline.minutes:g} minutes after its last sync at most. "
        "Whoever went in counts as on the field, and what the record has against it is shown at once when it is told."
    )


_RULES: Final[dict[type[Data], Callable[[Recorded[Any], Background], str]]] = {
    CautionRecorded: _cautioned,
    CautionResolved: _cautioned,
    CautionVoided: _always(
        "A caution is withdrawn with a reason and stays on the record. A sit-out served for it spares another."
    ),
    SeparateActRuled: _always(
        "A second entry for what may be the same act counts only once the head referee rules it a separate act."
    ),
    EjectionConfirmed: _always(
        "Only the head referee or a manager ejects for a violation that weighs two. The entry is forfeited."
    ),
    PlayerReinstated: _always("The cautions of before stand, without further consequence."),
    AppealRaised: _always("Until an appeal is decided, the caution stands."),
    AppealDecided: _always("An appeal that is upheld withdraws the caution; one that is turned down leaves it."),
    MarkerTested: _tested,
    MarkerSpotChecked: _spot_checked,
    SetUpChanged: _always(
        "A refill, a squeegee, a hopper or a battery leaves the velocity as it was; any other change voids the test."
    ),
    ChronoChecked: _always("A reading counts where the chronograph's checks before it and after it were good."),
    GameStarted: _admission,
    StartRefused: _admission,
    PlayerAdmitted: _admission,
    AdmissionRefused: _admission,
    EntryRecorded: _entry,
    PlayerOut: _out,
    OutVoided: _mistaken,
    PaintCheckVoided: _mistaken,
    SpotCheckVoided: _mistaken,
    GameEnded: _ended,
    GameAbandoned: _always(
        "A game that was given up serves no sit-out; of a continuous one the minutes that were played do."
    ),
    HeadsCounted: _always(_HEADS),
    FieldSwept: _always(_HEADS),
    PlayerFound: _always(_HEADS),
    FieldInspected: _always("A field is played on once it has passed the inspection of the day."),
    HoldAsked: _always(_HOLD),
    HoldConfirmed: _always(_HOLD),
    HoldLifted: _always(_HOLD),
    ThunderHeard: _lightning,
    FlashSeen: _lightning,
    WeatherRecorded: _heat,
    IncidentRecorded: _always(_EVIDENCE),
    CustodyTaken: _always(_EVIDENCE),
    CustodyPassed: _always(_EVIDENCE),
    IncidentClosed: _always(
        "A manager closes a record once nothing is missing, or with what is missing said; whatever is told later opens it again."
    ),
    EntryWithdrawn: _always(
        "An entry that was never so is withdrawn by a first aider, the head referee or a manager; it stays on the record, and what followed from it stays until somebody entitled ends it."
    ),
    InjuryRecorded: lambda event, _: _UNFIT if event.data.player else "",
    PlayerUnfit: _always(_UNFIT),
    PlayerFit: _always(_UNFIT),
    PlayerRegistered: _registered,
    PassReissued: _always("The newest pass names the player; the one that it replaces does so no longer."),
    PaymentRecorded: _paid,
    RefundGranted: _refund,
    RefundRefused: _refund,
    WaiverSigned: _signed,
    ConsentGiven: _signed,
    ConsentWithdrawn: _always(
        "One guardian who takes consent back is enough: the child plays no further until he consents again."
    ),
    GuardianLeft: _always("An adult on the park must answer for a child; whoever leaves names another."),
    BriefingHeld: _briefed,
    RotationAssigned: _always("The full games of his rotation serve a player's sit-outs."),
    MinorHandedOver: _always("A minor is never put off the park: it is supervised until handed to a named adult."),
    PersonBanned: _always("Who is banned is not let onto any field while the ban holds."),
    GearInspected: _always(_INSPECTED),
    GearIssued: _always(_ISSUED),
    IssueRefused: _always(_ISSUED),
    MarkerHandedOver: _always("A test belongs to the marker as it is set up: it goes with it."),
    MarkerSwapped: _always("From then on the test of the marker that was given counts, not that of the one returned."),
    GearQuarantined: _always("Gear that is out of use serves nobody until it is released."),
    GearReleased: _released,
    BottleRegistered: _always("Nobody uses a bottle past the date of its test."),
    BottleRequalified: _always("Nobody uses a bottle past the date of its test."),
    DutyStarted: _duty,
    DutyRefused: _duty,
    CheckDone: _checked,
    RulesAdopted: _adopted,
}
