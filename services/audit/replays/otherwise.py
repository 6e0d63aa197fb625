"""The answer to a what-if, in words: which decision would have been another, and which caution would have come to something else."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from contracts.duty import DutyRefused, DutyStarted
from contracts.envelope import Data
from contracts.equipment import GearIssued, IssueRefused
from contracts.games import AdmissionRefused, EntryRecorded, GameStarted, PlayerAdmitted, StartRefused
from contracts.registration import RefundGranted, RefundRefused
from contracts.rules import Rules
from contracts.what_if import Asked, Changed, Consequence, Facet, Otherwise, Verdict, WhatIf
from services.audit.days import Range
from services.audit.replays.decisions import Outcome
from services.audit.replays.standings import Differs
from services.audit.replays.what_if import Answer, Turned

NOTE: Final = (
    "What people did stays as it was recorded: only decisions, and what cautions come to, are taken anew. It shows what the rules would "
    "have said, not what would have happened. Nothing was written."
)


def _gear(data: GearIssued | IssueRefused) -> str:
    named = (("marker", data.marker), ("mask", data.mask), ("bottle", data.bottle))
    return next((f"{kind}:{name}" for kind, name in named if name), f"player:{data.player}")


_ASKED: Final[dict[type[Data], tuple[Asked, Callable[[Any], str]]]] = {
    GameStarted: ("start", lambda data: f"game:{data.game}"),
    StartRefused: ("start", lambda data: f"game:{data.game}"),
    PlayerAdmitted: ("admission", lambda data: f"field:{data.field}"),
    AdmissionRefused: ("admission", lambda data: f"field:{data.field}"),
    EntryRecorded: ("admission", lambda data: f"field:{data.field}"),
    GearIssued: ("issue", _gear),
    IssueRefused: ("issue", _gear),
    DutyStarted: ("duty", lambda data: f"staff:{data.staff}"),
    DutyRefused: ("duty", lambda data: f"staff:{data.staff}"),
    RefundGranted: ("refund", lambda data: f"refund:{data.refund}"),
    RefundRefused: ("refund", lambda data: f"refund:{data.refund}"),
}
_PHRASES: Final[dict[Asked, tuple[str, str, str]]] = {
    "start": ("start of {}", "cleared", "not cleared"),
    "admission": ("entry to {}", "cleared", "not cleared"),
    "issue": ("issue of {}", "granted", "refused"),
    "duty": ("duty of {}", "granted", "refused"),
    "refund": ("{}", "granted", "refused"),
}
"""How each is spoken of, and its two outcomes."""
_FACETS: Final[dict[Facet, Callable[[int], str]]] = {
    "sit_outs_owed": lambda count: f"owe {count or 'no'} sit-out{'' if count == 1 else 's'}",
    "sit_outs_served": lambda count: f"have served {count or 'no'} sit-out{'' if count == 1 else 's'}",
    "stood_down": lambda is_so: "be stood down" if is_so else "not be stood down",
    "ejected": lambda is_so: "be ejected, his entry forfeited" if is_so else "not be ejected",
}


def told(  # noqa: PLR0913, PLR0917 - an answer, the question, and where in the log it was asked
    answer: Answer, asked: WhatIf, park: str, epoch: int, day: date, positions: Range, rules: Rules
) -> Otherwise:
    """The whole answer; times by the park's own clock."""
    zone = ZoneInfo(rules.time_zone)
    return Otherwise(
        park=park,
        epoch=epoch,
        day=day,
        first=positions.first,
        last=positions.last,
        void=tuple(sorted(answer.void)),
        rules=asked.rules.version if asked.rules else None,
        decisions_seen=answer.seen,
        decisions=tuple(_changed(one, zone) for one in answer.turned),
        consequences=tuple(_consequence(one, zone) for one in answer.differs),
        note=NOTE,
    )


def _changed(one: Turned, zone: ZoneInfo) -> Changed:
    data = one.event.data
    asked, subject = _ASKED[type(data)]
    player = one.player or getattr(data, "player", None)
    whom = f" for player {player}" if player else ""
    what = _PHRASES[asked][0].format(subject(data).replace(":", " ", 1))
    return Changed(
        position=one.event.position,
        occurred_at=one.event.occurred_at,
        local_time=one.event.occurred_at.astimezone(zone).isoformat(),
        asked=asked,
        subject=subject(data),
        player=player,
        was=Verdict(granted=one.was.granted, reasons=one.was.reasons),
        would_be=Verdict(granted=one.would_be.granted, reasons=one.would_be.reasons),
        sentence=(
            f"{_local(one.event.occurred_at, zone)}, {what}{whom}: "
            f"was {verdict(one.was, asked)}; would have been {verdict(one.would_be, asked)}."
        ),
    )


def verdict(outcome: Outcome, asked: Asked = "start") -> str:
    """An outcome in a few words."""
    _, granted, refused = _PHRASES[asked]
    against = [one.code.replace("_", " ") for one in outcome.reasons]
    named = [f"{player} ({_codes(reasons)})" for player, reasons in outcome.players.items() if reasons]
    if outcome.granted:
        return f"{granted}, without {', '.join(named)}" if named else granted
    return f"{refused}: {', '.join((*against, *named))}"


def _codes(reasons: tuple[Any, ...]) -> str:
    return ", ".join(one.code.replace("_", " ") for one in reasons)


def _consequence(one: Differs, zone: ZoneInfo) -> Consequence:
    words = _FACETS[one.what]
    at = _local(one.event.occurred_at, zone)
    return Consequence(
        position=one.event.position,
        occurred_at=one.event.occurred_at,
        local_time=one.event.occurred_at.astimezone(zone).isoformat(),
        player=one.player,
        what=one.what,
        was=one.was,
        would_be=one.would_be,
        sentence=f"{at}, player {one.player} came to {words(one.was)}; he would {words(one.would_be)}.",
    )


def _local(moment: datetime, zone: ZoneInfo) -> str:
    return f"{moment.astimezone(zone):%H:%M}"
