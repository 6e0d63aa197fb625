"""Money: what counts as a paid entry, and what may be paid back. The till takes the money; here is its record."""

from typing import Final, Literal

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Data, Reason, Recorded
from contracts.games import EntryRecorded, GameStarted, PlayerAdmitted
from contracts.reasons import reason
from contracts.registration import PaymentRecorded, PaymentVoided, Refund, RefundGranted
from services.core.command import Moment
from services.core.fold import Evolve, Fold

ENTRY: Final = frozenset({"entry", "entry_deposit"})
"""What pays for being let in; it is this that an ejection forfeits, and not paint, air, hire or the deposit on hired gear."""
Cover = Literal["paid", "voided", "refunded"]


class Payment(Struct, frozen=True):
    """One payment and what was paid back of it, in the currency's minor unit."""

    payment: str
    players: tuple[str, ...] = ()
    purpose: str = ""
    amount_minor: int = 0
    refunds: dict[str, tuple[str, int]] = {}
    """Refund → player, amount."""
    voided: bool = False

    @property
    def left_minor(self) -> int:
        return self.amount_minor - sum(amount for _, amount in self.refunds.values())

    def share_left_minor(self, player: str) -> int:
        """What is left of a player's equal share; the first on the payment bears what does not divide."""
        share, rest = divmod(self.amount_minor, len(self.players))
        if player == self.players[0]:
            share += rest
        return share - sum(amount for name, amount in self.refunds.values() if name == player)


class Purse(Struct, frozen=True):
    """What a player's entry rests on, payment by payment, and whether he has been in a game."""

    player: str
    entries: dict[str, Cover] = {}
    played: bool = False


class Name(Struct, frozen=True):
    """Whether a refund of that name was granted. One that was refused may be asked again."""

    refund: str
    granted: bool = False


def reasons(purse: Purse) -> list[Reason]:
    """Whether the entry is paid: by any payment of his own, of his group's account, by voucher or by deposit."""
    covers = set(purse.entries.values())
    if "paid" in covers:
        return []
    if "voided" in covers:
        return [reason("entry_voided")]
    return [reason("entry_unpaid", detail="It was paid back." if covers else "")]


def refund_reasons(command: Refund, payment: Payment, purse: Purse, moment: Moment, *, ejected: bool) -> list[Reason]:
    """Why a refund is refused.

    A manager may override forfeiture, use and the equal share with a reason of record, but never the sum that was paid.
    """
    found: list[Reason] = []
    if payment.voided or command.amount_minor > payment.left_minor:
        found.append(reason("refund_exceeds_payment"))
    overridden = command.override is not None and "manager" in moment.roles
    if payment.purpose not in ENTRY or overridden:
        return found
    if len(payment.players) > 1 and command.amount_minor > payment.share_left_minor(command.player):
        found.append(reason("refund_exceeds_share"))
    if ejected:
        found.append(reason("refund_forfeited"))
    if purse.played and not moment.rules.money.refund_after_start:
        found.append(reason("refund_after_start"))
    return found


def uncovered(command: Refund, payment: Payment) -> tuple[str, ...]:
    """Whose entry a payment no longer covers once this refund is paid out of it."""
    if payment.purpose not in ENTRY:
        return ()
    if command.amount_minor >= payment.left_minor:
        return payment.players
    return (command.player,) if command.amount_minor >= payment.share_left_minor(command.player) else ()


def _recorded(payment: Payment, event: Recorded[PaymentRecorded]) -> Payment:
    if payment.players:
        return payment
    data = event.data
    return replace(payment, players=data.players, purpose=data.purpose, amount_minor=data.amount_minor)


def _refunded(payment: Payment, event: Recorded[RefundGranted]) -> Payment:
    data = event.data
    return replace(payment, refunds={data.refund: (data.player, data.amount_minor), **payment.refunds})


def _voided(payment: Payment, _: Recorded[PaymentVoided]) -> Payment:
    return replace(payment, voided=True)


def _covered(purse: Purse, event: Recorded[PaymentRecorded]) -> Purse:
    data = event.data
    if data.purpose not in ENTRY or data.payment in purse.entries:
        return purse
    return replace(purse, entries={**purse.entries, data.payment: "paid"})


def _withdrawn(purse: Purse, event: Recorded[PaymentVoided]) -> Purse:
    return _no_longer(purse, event.data.payment, "voided")


def _paid_back(purse: Purse, event: Recorded[RefundGranted]) -> Purse:
    data = event.data
    return _no_longer(purse, data.payment, "refunded") if purse.player in data.uncovers else purse


def _no_longer(purse: Purse, payment: str, cover: Cover) -> Purse:
    return replace(purse, entries={**purse.entries, payment: cover}) if payment in purse.entries else purse


def _started(purse: Purse, event: Recorded[GameStarted]) -> Purse:
    """Whoever was left out of the game is named in it as well, but has not played."""
    on_list = any(entrant.player == purse.player for entrant in event.data.entrants)
    return replace(purse, played=purse.played or on_list)


def _admitted(purse: Purse, _: Recorded[PlayerAdmitted] | Recorded[EntryRecorded]) -> Purse:
    return replace(purse, played=True)


_PAYMENT: dict[type[Data], Evolve[Payment]] = {
    PaymentRecorded: _recorded,
    RefundGranted: _refunded,
    PaymentVoided: _voided,
}
_PURSE: dict[type[Data], Evolve[Purse]] = {
    PaymentRecorded: _covered,
    PaymentVoided: _withdrawn,
    RefundGranted: _paid_back,
    GameStarted: _started,
    PlayerAdmitted: _admitted,
    EntryRecorded: _admitted,
}
PAYMENT: Fold[Payment] = Fold("registration.payment", "payment", Payment, _PAYMENT)
PURSE: Fold[Purse] = Fold("registration.purse", "player", Purse, _PURSE)
REFUND: Fold[Name] = Fold(
    "registration.refund", "refund", Name, {RefundGranted: lambda name, _: replace(name, granted=True)}
)
