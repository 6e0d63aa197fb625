"""The till's records: payments taken and withdrawn. A refund rests on discipline too, so it is decided beside clearance."""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.problems import NotInThatState
from contracts.registration import PaymentRecorded, PaymentVoided, RecordPayment, VoidPayment
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given
from services.registration.known import must_know_players
from services.registration.money import PAYMENT


def record_payment(command: RecordPayment, given: Given, _: Moment) -> Iterable[Data]:
    must_know_players(given, command.players)
    must_be_new(given.of(PAYMENT, command.payment).players, f"payment:{command.payment}")
    return [
        PaymentRecorded(
            payment=command.payment,
            players=command.players,
            purpose=command.purpose,
            means=command.means,
            amount_minor=command.amount_minor,
        )
    ]


def void_payment(command: VoidPayment, given: Given, _: Moment) -> Iterable[Data]:
    payment = given.of(PAYMENT, command.payment)
    must_know(payment.players, f"payment:{command.payment}")
    if payment.voided:
        raise NotInThatState(f"Payment {command.payment} was withdrawn already.", where="$.payment")
    return [PaymentVoided(payment=command.payment, players=payment.players, error=command.error)]
