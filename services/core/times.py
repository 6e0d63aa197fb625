"""When a thing happened: the device's claim, corrected by what is known of its clock, and marked."""

from datetime import datetime, timedelta

from msgspec import Struct

from contracts.envelope import Clock, Command
from contracts.problems import ImpossibleTime
from contracts.rules import Rules


class Contact(Struct, frozen=True, kw_only=True):
    """What a device said of its clock and its own count when it sent a request."""

    received_at: datetime
    device_time: datetime | None = None
    device_seq: int | None = None


class Occurred(Struct, frozen=True):
    at: datetime
    clock: Clock


def occurred(command: Command, contact: Contact, rules: Rules) -> Occurred:
    """When it happened, never after its receipt.

    A claim beyond the rules' tolerance is impossible: a fact is recorded at its receipt and so marked, a command raises ImpossibleTime.
    """
    now, claimed = contact.received_at, command.occurred_at
    if claimed is None:
        return Occurred(now, "server")
    at = _corrected(claimed, contact)
    ahead = timedelta(minutes=rules.clock_tolerance_minutes)
    if at is not None and now - timedelta(days=rules.backdate_days) <= at <= now + ahead:
        return Occurred(min(at, now), "corrected" if contact.device_time else "claimed")
    if command.FACT:
        return Occurred(now, "impossible")
    raise ImpossibleTime(
        f"occurred_at is {claimed.isoformat()}, but the request was received at {now.isoformat()}. "
        f"Set the device's clock and send the request again with a time of the last {rules.backdate_days} days.",
        where="$.occurred_at",
    )


def _corrected(claimed: datetime, contact: Contact) -> datetime | None:
    """A claim by the server's clock, or None where that lies outside the calendar."""
    try:
        return claimed + (contact.received_at - contact.device_time) if contact.device_time else claimed
    except OverflowError:
        return None
