"""Which later events withdraw or correct which earlier ones."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import Any, Final

from contracts.discipline import AppealDecided, CautionRecorded, CautionResolved, CautionVoided
from contracts.envelope import Data, Recorded
from contracts.games import GameCalled, OutVoided, PaintChecked, PaintCheckVoided, PlayerOut
from contracts.incidents import EntryWithdrawn
from contracts.registration import (
    BanLifted,
    ConsentGiven,
    ConsentWithdrawn,
    PassReissued,
    PaymentRecorded,
    PaymentVoided,
    PersonBanned,
    PlayerRegistered,
    WithdrawalVoided,
)
from contracts.velocity import MarkerSpotChecked, SpotCheckVoided
from services.incidents.telling import KINDS as ENTRIES

Key = tuple[Hashable, ...]
"""What was recorded: the tag that its later story bears comes first."""
_Keys = Mapping[type[Data], Callable[[Recorded[Any]], Key | None]]

_CLAIMS: Final[_Keys] = {
    CautionRecorded: lambda e: (f"caution:{e.data.caution}",),
    CautionResolved: lambda e: (f"caution:{e.data.caution}",),
    PaymentRecorded: lambda e: (f"payment:{e.data.payment}",),
    ConsentGiven: lambda e: (f"person:{e.data.person}", "consent", e.data.guardian),
    ConsentWithdrawn: lambda e: (f"person:{e.data.person}", "withdrawal", e.data.guardian),
    PersonBanned: lambda e: (f"person:{e.data.person}", "ban"),
    PlayerRegistered: lambda e: (f"player:{e.data.player}", "pass", e.data.day_pass),
    PassReissued: lambda e: (f"player:{e.data.player}", "pass", e.data.day_pass),
    GameCalled: lambda e: (f"game:{e.data.game}", "list"),
    PlayerOut: lambda e: (f"player:{e.data.player}", "out", str(e.id)),
    PaintChecked: lambda e: (f"player:{e.data.player}", "paint", e.data.check),
    MarkerSpotChecked: lambda e: (f"marker:{e.data.marker}", "spot", e.data.check),
    **dict.fromkeys(ENTRIES, lambda e: (f"incident:{e.data.incident}", str(e.id))),
}
"""What each of these says may be withdrawn or corrected."""
_WITHDRAWS: Final[_Keys] = {
    CautionResolved: lambda e: (f"caution:{e.data.caution}",),
    CautionVoided: lambda e: (f"caution:{e.data.caution}",),
    AppealDecided: lambda e: (f"caution:{e.data.caution}",) if e.data.upheld else None,
    PaymentVoided: lambda e: (f"payment:{e.data.payment}",),
    ConsentWithdrawn: lambda e: (f"person:{e.data.person}", "consent", e.data.guardian),
    WithdrawalVoided: lambda e: (f"person:{e.data.person}", "withdrawal", e.data.guardian),
    BanLifted: lambda e: (f"person:{e.data.person}", "ban"),
    PassReissued: lambda e: (f"player:{e.data.player}", "pass", e.data.replaces),
    OutVoided: lambda e: (f"player:{e.data.player}", "out", str(e.data.out)),
    PaintCheckVoided: lambda e: (f"player:{e.data.player}", "paint", e.data.check),
    SpotCheckVoided: lambda e: (f"marker:{e.data.marker}", "spot", e.data.check),
    GameCalled: lambda e: (f"game:{e.data.game}", "list"),
    EntryWithdrawn: lambda e: (f"incident:{e.data.incident}", str(e.data.entry)),
}
"""What each of these withdraws or corrects."""


class Withdrawals:
    """The later word on what these events say."""

    def __init__(self, events: Iterable[Recorded[Any]]) -> None:
        self._positions: dict[Key, list[int]] = {}
        for event in events:
            key = _key(_WITHDRAWS, event)
            if key is not None:
                self._positions.setdefault(key, []).append(event.position)

    def of(self, event: Recorded[Any]) -> tuple[int, ...]:
        """Positions of the later events that withdraw or correct this one: of a caution all of them, else the next."""
        key = _key(_CLAIMS, event)
        if key is None:
            return ()
        later = [one for one in self._positions.get(key, ()) if one > event.position]
        return tuple(later if len(key) == 1 else later[:1])


def tag_of(event: Recorded[Any]) -> str | None:
    """The tag whose story holds whatever withdraws or corrects an event."""
    key = _key(_CLAIMS, event)
    return None if key is None else str(key[0])


def _key(keys: _Keys, event: Recorded[Any]) -> Key | None:
    find = keys.get(type(event.data))
    return None if find is None else find(event)
