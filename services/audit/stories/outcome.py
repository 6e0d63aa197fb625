"""The decision that a grant or a refusal is, in words; of a game's start only the part of the story's own player."""

from collections.abc import Callable, Sequence
from typing import Any, Final

from contracts.duty import DutyRefused, DutyStarted
from contracts.envelope import Data, Grant, Reason, Refusal
from contracts.equipment import GearIssued, IssueRefused
from contracts.games import AdmissionRefused, EntryRecorded, GameStarted, Offender, PlayerAdmitted, StartRefused
from contracts.registration import RefundGranted, RefundRefused
from contracts.story import Decided
from contracts.vault import ErasureRefused, PersonErased
from services.audit.words.scene import Scene, count

_GRANTED: Final[dict[type[Data], Callable[[Any], str]]] = {
    GameStarted: lambda d: f"Cleared: all {count(len(d.entrants), 'player')} who went on.",
    PlayerAdmitted: lambda d: f"Cleared: {d.part} {d.player} may enter field {d.field}.",
    GearIssued: lambda d: f"Granted: the gear may go to player {d.player}.",
    RefundGranted: lambda _: "Granted.",
    DutyStarted: lambda d: f"Granted: staff {d.staff} was qualified for that post.",
    PersonErased: lambda _: "Granted: nothing stood in the way.",
}
_REFUSED: Final[dict[type[Data], Callable[[Any], str]]] = {
    AdmissionRefused: lambda d: f"Not cleared: player {d.player} could not enter field {d.field}.",
    IssueRefused: lambda d: f"Refused: the gear could not go to player {d.player}.",
    RefundRefused: lambda _: "Refused: nothing was paid back.",
    DutyRefused: lambda d: f"Refused: staff {d.staff} could not take that post.",
    ErasureRefused: lambda _: "Refused: nothing was erased.",
}


def decided(data: Data, scene: Scene) -> Decided | None:
    """What was decided and why; None where the event is no decision."""
    if not isinstance(data, Grant | Refusal | EntryRecorded):
        return None
    granted, sentence, reasons = _verdict(data, scene)
    basis = data.basis
    return Decided(
        granted=granted, sentence=sentence, reasons=tuple(reasons), rests_on=basis.position, rules=basis.rules
    )


def _verdict(data: Grant | Refusal | EntryRecorded, scene: Scene) -> tuple[bool, str, Sequence[Reason]]:
    player = scene.player
    if isinstance(data, EntryRecorded):
        return _entered(data)
    if isinstance(data, GameStarted) and any(one.player == player for one in data.entrants):
        return True, f"Cleared: player {player} may enter field {data.field} for game {data.game}.", ()
    if isinstance(data, GameStarted) and (mine := _of(data.left_out, player)):
        nothing = "" if mine.reasons else " Nothing stood against him."
        return False, f"Left out of game {data.game}.{nothing}", mine.reasons
    if isinstance(data, StartRefused):
        return False, *_start_refused(data, player)
    if isinstance(data, Grant):
        return True, _GRANTED[type(data)](data), ()
    return False, _REFUSED[type(data)](data), data.reasons


def _entered(data: EntryRecorded) -> tuple[bool, str, Sequence[Reason]]:
    """What the record says of an entry that the gate decided by itself."""
    old = f" What the gate knew was {data.age_minutes:g} minutes old, which is too old." if data.stale else ""
    if data.reasons:
        return (
            False,
            f"Not cleared by the record: player {data.player} was on field {data.field} by then.{old}",
            data.reasons,
        )
    return not data.stale, f"Nothing on the record stood against player {data.player} on field {data.field}.{old}", ()


def _start_refused(data: StartRefused, player: str | None) -> tuple[str, Sequence[Reason]]:
    mine = _of(data.offenders, player)
    if mine:
        return f"Not cleared: player {player} could not enter field {data.field}.", (*mine.reasons, *data.reasons)
    offenders = f" {count(len(data.offenders), 'player')} not cleared." if data.offenders else ""
    return f"Not cleared: nobody was let on.{offenders}", data.reasons


def _of(offenders: Sequence[Offender], player: str | None) -> Offender | None:
    return next((one for one in offenders if one.player == player), None)
