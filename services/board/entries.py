"""Who is on a field that let him in while its gate had no network, where the record says no to it."""

from contracts.board import Alert
from services.clearance.presence import Entry


def entry_alert(on: Entry, who: str, where: str) -> Alert | None:
    """It stands until he is off the field. A wall says where it is cleared, and not what it is."""
    if on.unasked is None or not (on.unasked.stale or on.unasked.reasons):
        return None
    told = f"{who[0].upper()}{who[1:]} went onto {where} while the gate had no network"
    if on.unasked.reasons:
        sentence = f"{told}: not cleared by the record. Take off the field, to {on.unasked.reasons[0].where}."
    else:
        sentence = (
            f"{told}, and what the gate knew was too old. Take off the field, to the gate: ask for his clearance anew."
        )
    return Alert(kind="let_in_offline", sentence=sentence, field=on.field, since=on.place[0])
