"""A refund rests on the payment and on discipline: entry is forfeited by an ejection. The refusal is recorded like the grant."""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.problems import RuleForbids
from contracts.registration import Refund, RefundGranted, RefundRefused
from services.clearance.model import played_in, rotations_of
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given, Subject
from services.discipline.standing import standing
from services.discipline.states import RECORD
from services.registration.money import PAYMENT, PURSE, REFUND, refund_reasons, uncovered


def reads(command: Refund, given: Given) -> Iterable[Subject]:
    player = command.player
    named: set[Subject] = {(PAYMENT, command.payment), (REFUND, command.refund)}
    return named | {(PURSE, player), (RECORD, player), *played_in(given, player)}


def refund(command: Refund, given: Given, moment: Moment) -> Iterable[Data]:
    payment = given.of(PAYMENT, command.payment)
    must_know(payment.players, f"payment:{command.payment}")
    must_be_new(given.of(REFUND, command.refund).granted, f"refund:{command.refund}")
    if command.player not in payment.players:
        raise RuleForbids(f"Payment {command.payment} does not cover player {command.player}.", where="$.player")
    ejected = _ejected(given, command.player, moment)
    found = refund_reasons(command, payment, given.of(PURSE, command.player), moment, ejected=ejected)
    if found:
        return [
            RefundRefused(
                basis=moment.basis,
                reasons=tuple(found),
                refund=command.refund,
                payment=command.payment,
                player=command.player,
                amount_minor=command.amount_minor,
            )
        ]
    return [
        RefundGranted(
            basis=moment.basis,
            refund=command.refund,
            payment=command.payment,
            player=command.player,
            amount_minor=command.amount_minor,
            override=command.override,
            uncovers=uncovered(command, payment),
        )
    ]


def _ejected(given: Given, player: str, moment: Moment) -> bool:
    rotations, stops = rotations_of(given, player)
    return standing(given.of(RECORD, player), rotations, moment, stops).ejected
