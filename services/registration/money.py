"""Money: what counts as a paid entry, and what may be paid back. The till takes the money; here is its record."""

from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Reason, Recorded
from contracts.games import GameStarted
from contracts.reasons import reason
from contracts.registration import PaymentRecorded, PaymentVoided, Refund, RefundGranted
from services.core.command import Moment
from services.core.fold import Evolve, Fold

ENTRY: Final = frozenset({"entry", "entry_deposit"})
"""What pays for being let in; it is this that an ejection forfeits, and not paint, air, hire or the deposit on hired gear."""


class Payment(Struct, frozen=True):
    """One payment, in the currency's minor unit."""

    payment: str
    players: tuple[str, ...] = ()
    purpose: str = ""
    amount_minor: int = 0
    refunded_minor: int = 0
    voided: bool = False


class Purse(Struct, frozen=True):
    """What a player's entry rests on: the payments that cover it, whether each was withdrawn, and whether he has played."""

    player: str
    entries: dict[str, bool] = {}
    """Payment → withdrawn."""
    withdrawn_early: frozenset[str] = frozenset()
    """Payments whose withdrawal was recorded before they were."""
    played: bool = False


def reasons(purse: Purse) -> list[Reason]:
    """Whether the entry is paid: by any payment of his own, of his group's account, by voucher or by deposit."""
    if any(not withdrawn for withdrawn in purse.entries.values()):
        return []
    return [reason("entry_voided" if purse.entries else "entry_unpaid")]


def refund_reasons(command: Refund, payment: Payment, purse: Purse, moment: Moment, *, ejected: bool) -> list[Reason]:
    """Why a refund is refused. A manager may override forfeiture and use with a reason of record, never the sum that was paid."""
    found: list[Reason] = []
    if payment.voided or command.amount_minor > payment.amount_minor - payment.refunded_minor:
        found.append(reason("refund_exceeds_payment"))
    overridden = command.override is not None and "manager" in moment.roles
    if payment.purpose in ENTRY and not overridden:
        if ejected:
            found.append(reason("refund_forfeited"))
        if purse.played and not moment.rules.money.refund_after_start:
            found.append(reason("refund_after_start"))
    return found


def _recorded(payment: Payment, event: Recorded[PaymentRecorded]) -> Payment:
    if payment.players:
        return payment
    data = event.data
    return replace(payment, players=data.players, purpose=data.purpose, amount_minor=data.amount_minor)


def _refunded(payment: Payment, event: Recorded[RefundGranted]) -> Payment:
    return replace(payment, refunded_minor=payment.refunded_minor + event.data.amount_minor)


def _voided(payment: Payment, _: Recorded[PaymentVoided]) -> Payment:
    return replace(payment, voided=True)


def _covered(purse: Purse, event: Recorded[PaymentRecorded]) -> Purse:
    data = event.data
    if data.purpose not in ENTRY or data.payment in purse.entries:
        return purse
    withdrawn = data.payment in purse.withdrawn_early
    return replace(purse, entries={**purse.entries, data.payment: withdrawn})


def _uncovered(purse: Purse, event: Recorded[PaymentVoided]) -> Purse:
    payment = event.data.payment
    if payment not in purse.entries:
        return replace(purse, withdrawn_early=purse.withdrawn_early | {payment})
    return replace(purse, entries={**purse.entries, payment: True})


def _played(purse: Purse, event: Recorded[GameStarted]) -> Purse:
    on_list = any(entrant.player == purse.player for entrant in event.data.entrants)
    return replace(purse, played=purse.played or on_list)


_PAYMENT: dict[type[Data], Evolve[Payment]] = {
    PaymentRecorded: _recorded,
    RefundGranted: _refunded,
    PaymentVoided: _voided,
}
_PURSE: dict[type[Data], Evolve[Purse]] = {
    PaymentRecorded: _covered,
    PaymentVoided: _uncovered,
    GameStarted: _played,
}
PAYMENT: Fold[Payment] = Fold("registration.payment", "payment", Payment, _PAYMENT)
PURSE: Fold[Purse] = Fold("registration.purse", "player", Purse, _PURSE)
