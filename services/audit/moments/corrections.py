"""When an event takes effect in a park's past as it happened: most when they happened; what corrects an earlier one, as far back as it reaches.

A correction either reaches back, to the occurrence of what it corrects: it says how things were all along. Or it holds from now: it changes
how things are, and leaves right what was decided before. Whatever is not named here takes effect when it happened.
"""

from collections.abc import Callable, Iterable
from datetime import datetime
from operator import attrgetter
from typing import Any, Final

from msgspec import Struct

from contracts import vault
from contracts.catalogue import TYPES
from contracts.discipline import (
    AppealDecided,
    CautionRecorded,
    CautionResolved,
    CautionVoided,
    EjectionConfirmed,
    PlayerReinstated,
    SeparateActRuled,
)
from contracts.envelope import Data, Recorded
from contracts.equipment import BottleRequalified, GearReleased
from contracts.games import HoldLifted, OutVoided, PaintCheckVoided
from contracts.incidents import EntryWithdrawn, PlayerFit
from contracts.park import RulesAdopted
from contracts.registration import (
    AgeBandRenewed,
    BanLifted,
    ConsentWithdrawn,
    PassKeyRenewed,
    PassReissued,
    PaymentRecorded,
    PaymentVoided,
    WithdrawalVoided,
)
from contracts.velocity import ChronoAdjusted, ChronoChecked, SpotCheckVoided
from services.velocity.states import decides


class Correction(Struct, frozen=True):
    """`corrects`: whether a correction says that of an earlier event; absent, it holds from now.

    Of several such events it corrects the last that was recorded before it; `by_happening`, the last that had happened before it did.
    """

    why: str
    corrects: Callable[[Any, Recorded[Any]], bool] | None = None
    by_happening: bool = False


def _the_caution(correction: Any, earlier: Recorded[Any]) -> bool:
    return isinstance(earlier.data, CautionRecorded | CautionResolved) and earlier.data.caution == correction.caution


def _the_payment(correction: PaymentVoided, earlier: Recorded[Any]) -> bool:
    return isinstance(earlier.data, PaymentRecorded) and earlier.data.payment == correction.payment


def _the_withdrawal(correction: WithdrawalVoided, earlier: Recorded[Any]) -> bool:
    return isinstance(earlier.data, ConsentWithdrawn) and (earlier.data.person, earlier.data.guardian) == (
        correction.person,
        correction.guardian,
    )


def _the_entry(correction: EntryWithdrawn, earlier: Recorded[Any]) -> bool:
    return bool(earlier.id == correction.entry)


def _the_out(correction: OutVoided, earlier: Recorded[Any]) -> bool:
    return bool(earlier.id == correction.out)


def _the_good_check(correction: ChronoChecked, earlier: Recorded[Any]) -> bool:
    return isinstance(earlier.data, ChronoChecked) and earlier.data.good and earlier.data.chrono == correction.chrono


def _the_last_check(correction: ChronoAdjusted, earlier: Recorded[Any]) -> bool:
    return (
        isinstance(earlier.data, ChronoChecked)
        and decides(earlier.data.signals)
        and earlier.data.chrono == correction.chrono
    )


def _checked(data: ChronoChecked) -> Correction:
    if data.good:
        return Correction("A good check says what can be trusted from then on.")
    if not decides(data.signals):
        return Correction("Too few shots that show nothing amiss decide nothing.")
    return Correction("It was last known to be right at the good check before.", _the_good_check, by_happening=True)


_CHARGED_BACK: Final = Correction(
    "The money had been paid, and was taken back since: from now on the entry is not paid."
)
_TURNED_DOWN: Final = Correction("The caution stands as it did.")
CORRECTIONS: Final[dict[type[Data], Callable[[Any], Correction]]] = {
    CautionVoided: lambda _: Correction(
        "It never counted against him: for whichever cause it was withdrawn.", _the_caution
    ),
    CautionResolved: lambda _: Correction(
        "Who it was is said later; that it was him was so at the time.", _the_caution
    ),
    AppealDecided: lambda data: (
        Correction("It should not have been given.", _the_caution) if data.upheld else _TURNED_DOWN
    ),
    SeparateActRuled: lambda _: Correction("It was a separate act when it was done.", _the_caution),
    PaymentVoided: lambda data: (
        _CHARGED_BACK
        if data.error == "charged_back"
        else Correction("What was written of the money had never been so.", _the_payment)
    ),
    WithdrawalVoided: lambda _: Correction("That guardian had not taken consent back.", _the_withdrawal),
    EntryWithdrawn: lambda _: Correction("It had never been so; only nobody had said it yet.", _the_entry),
    OutVoided: lambda _: Correction("He had not been out: he was on the field all along.", _the_out),
    PaintCheckVoided: lambda _: Correction("Nothing rested on it."),
    SpotCheckVoided: lambda _: Correction("A marker that was too fast is tested again all the same."),
    ChronoChecked: _checked,
    ChronoAdjusted: lambda _: Correction(
        "What it had read since its last check can no longer be confirmed.", _the_last_check, by_happening=True
    ),
    EjectionConfirmed: lambda _: Correction("Until the head referee had decided he was stood down, not ejected."),
    PlayerReinstated: lambda _: Correction("He is brought back; that he was out until then stays so."),
    GearReleased: lambda _: Correction("It is in use again; that it was out of use until then stays so."),
    PlayerFit: lambda _: Correction("He is fit again; that he was not until then stays so."),
    BanLifted: lambda _: Correction("He may come again; the ban held until then."),
    HoldLifted: lambda _: Correction("Play went on from then."),
    vault.LegalHoldLifted: lambda _: Correction("Until then nothing of it could be erased."),
    PassReissued: lambda _: Correction("The old pass named him until then."),
    PassKeyRenewed: lambda _: Correction("Passes that the old key signed were taken until then."),
    BottleRequalified: lambda _: Correction("It was tested anew; the old date held until then."),
    AgeBandRenewed: lambda _: Correction("He has grown older; he had not been before."),
    RulesAdopted: lambda _: Correction("Nobody adopts rules for what has already happened."),
}
REACHING: Final = tuple(
    TYPES[data]
    for data in (
        OutVoided,
        CautionVoided,
        CautionResolved,
        AppealDecided,
        SeparateActRuled,
        PaymentVoided,
        WithdrawalVoided,
        EntryWithdrawn,
        ChronoChecked,
        ChronoAdjusted,
    )
)
"""The types of which some reach back."""


HAPPENED: Final = attrgetter("occurred_at", "position")
RECORDED: Final = attrgetter("position")


def effective(event: Recorded[Any], story: Iterable[Recorded[Any]]) -> datetime:
    """When an event takes effect. `story` holds the events of a tag that both it and what it corrects bear."""
    found = CORRECTIONS.get(type(event.data))
    correction = found(event.data) if found else None
    if correction is None or correction.corrects is None:
        return event.occurred_at
    order = HAPPENED if correction.by_happening else RECORDED
    corrected = (one for one in story if order(one) < order(event) and correction.corrects(event.data, one))
    latest = max(corrected, key=order, default=event)
    return min(event.occurred_at, _effect_of(latest))


def _effect_of(event: Recorded[Any]) -> datetime:
    return event.data.happened_at if isinstance(event.data, CautionResolved) else event.occurred_at


def as_happened(story: list[Recorded[Any]], moment: datetime) -> list[Recorded[Any]]:
    """Of a tag's events those that had taken effect by a moment, in the order in which they did.

    The first stays first where it carries the tag: what was told later of an earlier day is not forgotten with that day.
    """
    placed = [(effective(one, story), one.position, one) for one in story]
    taken = sorted((one for one in placed if one[0] <= moment), key=lambda one: one[:2])
    first = (
        next((one for one in taken if one[1] == story[0].position and story[0].data.CARRIES), None) if story else None
    )
    if first is not None:
        taken.remove(first)
        taken.insert(0, first)
    return [event for *_, event in taken]
