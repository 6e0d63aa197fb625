"""The fleet's read table: each marker's history beside its bench, and which markers are hired or were given out on a day."""

from datetime import date
from typing import Any, Final

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Recorded
from contracts.equipment import GearIssued, MarkerHandedOver, MarkerRegistered, MarkerSwapped
from services.core.fold import Fold
from services.core.folds import Folds
from services.velocity.history import HISTORY
from services.velocity.states import BENCH


class Among(Struct, frozen=True):
    """A marker among the hired ones, or among those that were in somebody's hands on a day."""

    subject: str
    marker: str = ""


def _among(among: Among, _: Recorded[Any]) -> Among:
    return replace(among, marker=among.subject.partition(":")[2])


AMONG: Fold[Among] = Fold(
    "fleet.among",
    "among",
    Among,
    dict.fromkeys((MarkerRegistered, GearIssued, MarkerHandedOver, MarkerSwapped), _among),
)
HIRED: Final = "among:hired:"


def among_day(day: date) -> str:
    """What the tags begin with that name the markers given out on a day."""
    return f"among:{day}:"


class Fleet(Folds):
    """Folds by the tags of events, and by one more that finds the hired markers, and each day's, among all that were ever entered."""

    def tags(self, event: Recorded[Any]) -> list[str]:
        tags, data = super().tags(event), event.data
        if isinstance(data, MarkerRegistered) and data.owner is None:
            tags.append(f"{HIRED}{data.marker}")
        elif isinstance(data, MarkerRegistered | GearIssued | MarkerHandedOver | MarkerSwapped) and data.marker:
            tags.append(f"{among_day(event.day)}{data.marker}")
        return tags


FLEET = Fleet("fleet", (HISTORY, BENCH, AMONG))
