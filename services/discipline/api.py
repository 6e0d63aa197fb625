"""The commands of discipline and the subjects that each rests on."""

from contracts.discipline import (
    Caution,
    ConfirmEjection,
    DecideAppeal,
    RaiseAppeal,
    ReinstatePlayer,
    ResolveCaution,
    RuleSeparateAct,
    VoidCaution,
)
from services.core.command import Handler
from services.core.fold import Given, Subject
from services.core.service import Service
from services.discipline import model, rulings
from services.discipline.slip import CATALOGUES, FIELD, GAME, SLIP
from services.discipline.states import RECORD


def _caution(command: Caution, _: Given) -> set[Subject]:
    named = ((RECORD, command.player), (FIELD, command.field), (GAME, command.game))
    return {(CATALOGUES, ""), (SLIP, command.caution), *((fold, name) for fold, name in named if name is not None)}


def _void(command: VoidCaution, given: Given) -> set[Subject]:
    player = command.player or given.of(SLIP, command.caution).player
    return {(SLIP, command.caution)} if player is None else {(SLIP, command.caution), (RECORD, player)}


def _both(
    command: ResolveCaution | RuleSeparateAct | ConfirmEjection | RaiseAppeal | DecideAppeal, _: Given
) -> set[Subject]:
    return {(SLIP, command.caution), (RECORD, command.player)}


SERVICE = Service(
    "discipline",
    (
        Handler(Caution, _caution, model.caution),
        Handler(ResolveCaution, _both, model.resolve),
        Handler(VoidCaution, _void, model.void),
        Handler(RuleSeparateAct, _both, rulings.rule_separate_act),
        Handler(ConfirmEjection, _both, rulings.confirm_ejection),
        Handler(ReinstatePlayer, lambda c, _: {(RECORD, c.player)}, rulings.reinstate),
        Handler(RaiseAppeal, _both, rulings.raise_appeal),
        Handler(DecideAppeal, _both, rulings.decide_appeal),
    ),
)
