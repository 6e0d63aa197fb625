"""Decisions on the record: each is turned back into the command that was asked, and can be taken anew on other states.

What stays with a decision is the moment that was used and the rules in force, so the rule that decided is pure and gives the same again.
Two things are not recorded and are inferred. Whom a refused start was to leave out: those who were not cleared and whom it does not name.
Whether a manager had overridden the rules for a refund that was refused all the same: where only that explains its reasons.
"""

from collections.abc import Callable, Iterable
from typing import Any, Final

from msgspec import Struct
from msgspec.structs import replace

from contracts.duty import DutyRefused, DutyStarted, StartDuty
from contracts.envelope import Command, Data, Grant, Reason, Recorded, Refusal
from contracts.equipment import GearIssued, IssueGear, IssueRefused
from contracts.games import (
    AdmissionRefused,
    AdmitPlayer,
    EntryRecorded,
    GameStarted,
    PlayerAdmitted,
    RecordEntry,
    StartGame,
    StartRefused,
)
from contracts.problems import Refused
from contracts.reasons import reason
from contracts.registration import Refund, RefundGranted, RefundRefused
from contracts.rules import Rules
from contracts.words import Role
from services.clearance import api as at_the_gate
from services.clearance import model as clearance
from services.core.command import Handler, Moment
from services.core.fold import Given, Subject
from services.core.folds import Folds
from services.core.rules import RULES
from services.duty import api as duty
from services.duty.states import STAFF
from services.equipment import api as equipment
from services.games import api as games
from services.games.states import GAME
from services.registration.money import PAYMENT, REFUND

Decision = Grant | Refusal | EntryRecorded
Reasons = tuple[Reason, ...]

MEMORY: Final = Folds("audit.decisions", (*clearance.FOLDS, GAME, STAFF, PAYMENT, REFUND))
"""Everything that a decision on the record rests on."""


def _gear(data: GearIssued | IssueRefused) -> IssueGear:
    return IssueGear(player=data.player, marker=data.marker, mask=data.mask, bottle=data.bottle)


def _duty(data: DutyStarted | DutyRefused) -> StartDuty:
    return StartDuty(staff=data.staff, post=data.post, field=data.field)


def _refund(data: RefundGranted | RefundRefused) -> Refund:
    return Refund(
        refund=data.refund,
        payment=data.payment,
        player=data.player,
        amount_minor=data.amount_minor,
        override=data.override if isinstance(data, RefundGranted) else None,
    )


def _entry(data: EntryRecorded) -> RecordEntry:
    return RecordEntry(
        player=data.player, field=data.field, game=data.game, colour=data.colour, knew=data.knew, answer=data.answer
    )


_ASKED: Final[dict[type[Data], Callable[[Any], Command]]] = {
    GameStarted: lambda data: StartGame(game=data.game, without=tuple(one.player for one in data.left_out)),
    StartRefused: lambda data: StartGame(game=data.game),
    PlayerAdmitted: lambda data: AdmitPlayer(player=data.player, field=data.field, game=data.game, colour=data.colour),
    AdmissionRefused: lambda data: AdmitPlayer(player=data.player, field=data.field, game=data.game),
    EntryRecorded: _entry,
    GearIssued: _gear,
    IssueRefused: _gear,
    DutyStarted: _duty,
    DutyRefused: _duty,
    RefundGranted: _refund,
    RefundRefused: _refund,
}
KINDS: Final = frozenset(_ASKED)
"""The event types that are decisions."""
_HANDLERS: Final[dict[type[Command], Handler[Any]]] = {
    handler.command: handler
    for service in (games.SERVICE, equipment.SERVICE, duty.SERVICE, at_the_gate.SERVICE)
    for handler in service.handlers
}


class Outcome(Struct, frozen=True):
    """What a decision comes to: granted or not, the reasons against the whole of it, and those against each player of a start."""

    granted: bool
    reasons: Reasons = ()
    players: dict[str, Reasons] = {}

    def against(self, player: str) -> Reasons:
        return self.players.get(player, ())


def subjects(data: Decision, given: Given) -> Iterable[Subject]:
    """What a decision rested on, as far as `given` has it at hand."""
    command = _ASKED[type(data)](data)
    return {(RULES, ""), *_HANDLERS[type(command)].reads(command, given)}


def asked(event: Recorded[Any], given: Given) -> Command:
    """The command that a decision answered. `given` is what was recorded."""
    command, data = _ASKED[type(event.data)](event.data), event.data
    if isinstance(data, StartRefused):
        return StartGame(game=data.game, without=_left_out(event, given))
    if isinstance(command, Refund) and isinstance(data, RefundRefused):
        overridden = replace(command, override="goodwill")
        return overridden if outcome(event, overridden, given) == recorded(data) else command
    return command


def decide(event: Recorded[Any], command: Command, given: Given, rules: Rules | None = None) -> tuple[Data, ...]:
    """Take a decision anew on the states given, at its own moment; under other rules where they are named.

    Raises a `Refused` where the states allow no such command at all.
    """
    return tuple(_HANDLERS[type(command)].decide(command, given, _moment(event, command, given, rules)))


def outcome(event: Recorded[Any], command: Command, given: Given, rules: Rules | None = None) -> Outcome:
    """The same, as what it comes to."""
    try:
        (decided,) = decide(event, command, given, rules)
    except Refused as refused:
        return Outcome(granted=False, reasons=(_stated(refused),))
    if isinstance(decided, StartRefused) and isinstance(command, StartGame):
        moment = _moment(event, command, given, rules)
        left = {name: tuple(clearance.reasons(given, name, decided.field, moment)) for name in command.without}
        return Outcome(granted=False, reasons=decided.reasons, players=left | _named(decided.offenders))
    return recorded(decided)


def recorded(data: Any) -> Outcome:
    """What a decision came to by its own event."""
    if isinstance(data, GameStarted):
        return Outcome(granted=True, players=_named(data.left_out))
    if isinstance(data, StartRefused):
        return Outcome(granted=False, reasons=data.reasons, players=_named(data.offenders))
    if isinstance(data, EntryRecorded):
        stale = (reason("knowledge_too_old"),) if data.stale else ()
        return Outcome(granted=not (stale or data.reasons), reasons=(*data.reasons, *stale))
    return Outcome(granted=isinstance(data, Grant), reasons=getattr(data, "reasons", ()))


def _named(offenders: Iterable[Any]) -> dict[str, Reasons]:
    return {one.player: one.reasons for one in offenders}


def _stated(refused: Refused) -> Reason:
    """A refusal that would have written nothing, as a reason."""
    return Reason(code=refused.type_uri().rpartition("/")[2].replace("-", "_"), sentence=refused.detail, where="desk")


def _moment(event: Recorded[Any], command: Command, given: Given, rules: Rules | None = None) -> Moment:
    """An override is taken for a manager's."""
    basis = event.data.basis
    manager: frozenset[Role] = frozenset({"manager"}) if getattr(command, "override", None) else frozenset()
    return Moment(
        now=basis.now,
        occurred_at=event.occurred_at,
        day=event.day,
        rules=rules or given.of(RULES, "").rules,
        position=basis.position,
        device=event.device,
        roles=manager,
    )


def _left_out(event: Recorded[StartRefused], given: Given) -> tuple[str, ...]:
    """Whom a start that was refused was to leave out: by these states not cleared, and not named by it."""
    data = event.data
    called, named = given.of(GAME, data.game).called, _named(data.offenders)
    players = (entrant.player for entrant in called.entrants) if called else ()
    moment = _moment(event, StartGame(game=data.game), given)
    return tuple(name for name in players if name not in named and clearance.reasons(given, name, data.field, moment))
