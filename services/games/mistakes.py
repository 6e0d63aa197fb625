"""Mistakes on a field: an out or a paint check that was touched wrongly is withdrawn by whoever touched it. Nothing is deleted.

Whoever was recorded out by mistake is in the game as if he had not been, and is counted with it. Had he been recorded as injured, he still waits
for a first aider's word: what was said of somebody's health is not unsaid by a referee.
"""

from collections.abc import Iterable

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Recorded
from contracts.games import (
    CheckPaint,
    OutVoided,
    PaintChecked,
    PaintCheckVoided,
    PlayerOut,
    VoidOut,
    VoidPaintCheck,
)
from contracts.problems import NotInThatState
from services.clearance.field import FIELD
from services.clearance.presence import PRESENCE
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Evolve, Fold, Given, Subject
from services.core.withdrawing import Noted, must_be_withdrawable
from services.games.model import known_field, known_game, known_player, must_be_on
from services.games.states import GAME


class Notes(Struct, frozen=True):
    """What referees recorded of a player on fields: outs by the ids of their events, paint checks by their names."""

    player: str
    outs: dict[str, Noted] = {}
    checks: dict[str, Noted] = {}


def void_out(command: VoidOut, given: Given, moment: Moment) -> Iterable[Data]:
    noted = _withdrawable(given.of(NOTES, command.player).outs, str(command.out), "out", moment)
    return [OutVoided(player=command.player, field=noted.field, game=noted.game, out=command.out)]


def paint_subjects(command: CheckPaint, _: Given) -> set[Subject]:
    wanted: set[Subject] = {(PRESENCE, command.player), (NOTES, command.player), (FIELD, command.field)}
    return wanted | {(GAME, command.game)} if command.game else wanted


def check_paint(command: CheckPaint, given: Given, _: Moment) -> Iterable[Data]:
    """A look, and what it found. Whoever was hit is out by the referee's word, which is recorded for itself."""
    known_player(given, command.player)
    known_field(given, command.field)
    must_be_new(command.check in given.of(NOTES, command.player).checks, f"paint check:{command.check}")
    if command.game is not None:
        must_be_on(known_game(given, command.game)[1], command.field)
    return [
        PaintChecked(
            check=command.check,
            player=command.player,
            field=command.field,
            game=command.game,
            finding=command.finding,
        )
    ]


def void_paint_check(command: VoidPaintCheck, given: Given, moment: Moment) -> Iterable[Data]:
    noted = _withdrawable(given.of(NOTES, command.player).checks, command.check, "paint check", moment)
    return [PaintCheckVoided(check=command.check, player=command.player, field=noted.field)]


def _withdrawable(known: dict[str, Noted], name: str, kind: str, moment: Moment) -> Noted:
    noted = known.get(name)
    must_know(noted, f"{kind}:{name}")
    if noted is None or noted.voided:
        raise NotInThatState(f"The {kind} {name} has been withdrawn already. Nothing is to be done.")
    must_be_withdrawable(noted, f"The {kind} {name}", moment)
    return noted


def _noted(event: Recorded[PlayerOut] | Recorded[PaintChecked]) -> Noted:
    return Noted(event.device, event.occurred_at, event.data.field, event.data.game)


def _voided(known: dict[str, Noted], name: str) -> dict[str, Noted]:
    return known | {name: replace(known[name], voided=True)} if name in known else known


def _out(notes: Notes, event: Recorded[PlayerOut]) -> Notes:
    return replace(notes, outs={**notes.outs, str(event.id): _noted(event)})


def _out_voided(notes: Notes, event: Recorded[OutVoided]) -> Notes:
    return replace(notes, outs=_voided(notes.outs, str(event.data.out)))


def _checked(notes: Notes, event: Recorded[PaintChecked]) -> Notes:
    return replace(notes, checks={event.data.check: _noted(event)} | notes.checks)


def _check_voided(notes: Notes, event: Recorded[PaintCheckVoided]) -> Notes:
    return replace(notes, checks=_voided(notes.checks, event.data.check))


_NOTES: dict[type[Data], Evolve[Notes]] = {
    PlayerOut: _out,
    OutVoided: _out_voided,
    PaintChecked: _checked,
    PaintCheckVoided: _check_voided,
}
NOTES: Fold[Notes] = Fold("games.notes", "player", Notes, _NOTES)
