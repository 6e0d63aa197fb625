"""A player's standing: what the cautions against him come to at a moment. It is computed from the record each time, never kept as a counter.

One act, one caution: an entry so close to an earlier one about the same player stands him down and counts for nothing until the head
referee rules that it was a separate act, or withdraws it. One that weighs two stands him down at once; only the head referee ejects
for it. Reinstated, a player owes nothing more for what had been recorded by then; it still tells whether a late entry is a second one.
"""

from collections.abc import Mapping
from datetime import timedelta

from msgspec import Struct

from contracts.rules import DisciplineRules
from services.core.command import Moment
from services.discipline.sit_outs import Stops, served
from services.discipline.states import Entry, Record, Rotation


class Standing(Struct, frozen=True):
    """What is held against a player."""

    counted: tuple[Entry, ...]
    """The cautions that count, in the order of their recording."""
    awaiting_ruling: tuple[Entry, ...]
    """Entries that may be a second one of the same act."""
    awaiting_confirmation: tuple[Entry, ...]
    """Entries that weigh two, which the head referee has neither confirmed nor withdrawn."""
    ejected: bool
    sit_outs_owed: int
    sit_outs_served: int

    @property
    def stood_down(self) -> bool:
        return bool(self.awaiting_ruling or self.awaiting_confirmation)


def standing(record: Record, rotations: Mapping[str, Rotation], moment: Moment, stops: Stops) -> Standing:
    """What is held against a player at a moment.

    `rotations` are those of `record.rotation_ids`; `stops` tells of each field of their continuous games when play was stopped.
    """
    rules = moment.rules.discipline
    held = [one for one in stands(record) if record.reinstated is None or one.place[1] > record.reinstated[1]]
    ruling = tuple(one for one in held if second_entry(one, record, rules))
    confirmation = tuple(one for one in held if one.weight == 2 and not one.confirmed)
    counted = tuple(one for one in held if one not in ruling and one not in confirmation)
    weight = sum(one.weight for one in counted)
    done = served(record, rotations, moment.rules.games, moment.now, stops)
    owing = sum(1 for one in counted if one.weight == 1 and one.caution not in done)
    spared = sum(1 for one in record.entries if one.caution in done and one.voided)
    return Standing(
        counted=counted,
        awaiting_ruling=ruling,
        awaiting_confirmation=confirmation,
        ejected=any(one.confirmed for one in counted) or weight >= rules.cautions_to_eject,
        sit_outs_owed=max(0, owing - spared),
        sit_outs_served=len(done),
    )


def stands(record: Record) -> list[Entry]:
    """The cautions that have not been withdrawn. Notes are none."""
    return [one for one in record.entries if one.weight and not one.voided]


def second_entry(entry: Entry, record: Record, rules: DisciplineRules) -> bool:
    """Whether an entry may be of the same act as one that had been recorded before it, and nobody has ruled on it."""
    if entry.separate or entry.confirmed:
        return False
    near = timedelta(minutes=rules.one_act_minutes)
    return any(
        other.place[1] < entry.place[1] and abs(other.place[0] - entry.place[0]) <= near for other in stands(record)
    )
