"""What discipline remembers of each caution as it was written, of the catalogues it was written by, and of where it may have happened."""

from datetime import datetime

from msgspec import Struct
from msgspec.structs import replace

from contracts.discipline import CautionRecorded, CautionResolved, CautionVoided
from contracts.envelope import Data, Recorded
from contracts.games import FieldConfigured, GameCalled
from contracts.park import RulesAdopted
from contracts.rules import CATALOGUE, Violation, Weight
from services.core.fold import Evolve, Fold


class Slip(Struct, frozen=True):
    """A caution as it was written: about a player, or about a colour and a number until somebody says who that was."""

    caution: str
    violation: str = ""
    weight: Weight = 0
    player: str | None = None
    field: str | None = None
    game: str | None = None
    happened: datetime | None = None
    """None while there is no such caution."""
    voided: bool = False
    armband: int | None = None
    device: str = ""
    """That recorded it."""


class Catalogues(Struct, frozen=True):
    """Each catalogue with the moment from which on it was in force."""

    adopted: tuple[tuple[datetime, tuple[Violation, ...]], ...] = ()

    def at(self, moment: datetime) -> tuple[Violation, ...]:
        return next((catalogue for since, catalogue in reversed(self.adopted) if since <= moment), CATALOGUE)


class Known(Struct, frozen=True):
    """Whether a field or game exists, and the field that a game is on."""

    name: str
    known: bool = False
    field: str = ""


def _written(slip: Slip, event: Recorded[CautionRecorded]) -> Slip:
    if slip.happened is not None:
        return slip
    data = event.data
    return Slip(
        caution=data.caution,
        violation=data.violation,
        weight=data.weight,
        player=data.player,
        field=data.field,
        game=data.game,
        happened=event.occurred_at,
        armband=data.armband,
        device=event.device,
    )


def _named(slip: Slip, event: Recorded[CautionResolved]) -> Slip:
    return slip if slip.player else replace(slip, player=event.data.player)


def _withdrawn_slip(slip: Slip, event: Recorded[CautionVoided]) -> Slip:
    return replace(slip, voided=True) if event.data.player == slip.player else slip


def _adopted(catalogues: Catalogues, event: Recorded[RulesAdopted]) -> Catalogues:
    """In force from its recording on: nobody adopts rules for what has already happened."""
    since = (event.recorded_at, event.data.rules.discipline.catalogue)
    return Catalogues((*catalogues.adopted, since))


def _exists(known: Known, event: Recorded[FieldConfigured] | Recorded[GameCalled]) -> Known:
    return replace(known, known=True, field=event.data.field)


_SLIP: dict[type[Data], Evolve[Slip]] = {
    CautionRecorded: _written,
    CautionResolved: _named,
    CautionVoided: _withdrawn_slip,
}
SLIP: Fold[Slip] = Fold("discipline.slip", "caution", Slip, _SLIP)
CATALOGUES: Fold[Catalogues] = Fold("discipline.catalogues", "rules", lambda _: Catalogues(), {RulesAdopted: _adopted})
FIELD: Fold[Known] = Fold("discipline.field", "field", Known, {FieldConfigured: _exists})
GAME: Fold[Known] = Fold("discipline.game", "game", Known, {GameCalled: _exists})
