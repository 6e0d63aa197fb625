"""Equipment: whether what a player carries lets him onto a field.

Nobody goes on without eye protection that was issued to him or inspected on the day; a player goes on with a marker besides. His own
marker is inspected with its barrel cover, his own bottle like his mask. Everything he carries counts: what failed is left at the
counter, and then he carries it no more. A bottle out of its test date is used by nobody. Whoever is in doubt asks the gear counter;
local law on pressure vessels and the makers' instructions come first.
"""

from collections.abc import Collection, Iterable, Sequence
from datetime import date

from contracts.envelope import Reason
from contracts.reasons import reason
from contracts.words import Calibre, FiringMode, Part
from services.core.command import Moment
from services.equipment.kit import Kit
from services.equipment.states import Bottle, Gear, Marker, Mask


def reasons(  # noqa: PLR0913, PLR0917 - a player, his gear, a field, a moment
    kit: Kit,
    markers: Sequence[Marker],
    masks: Sequence[Mask],
    bottles: Sequence[Bottle],
    part: Part,
    calibres: Collection[Calibre],
    firing_modes: Collection[FiringMode],
    moment: Moment,
) -> list[Reason]:
    """Every reason why a person with this gear is not cleared for a field that takes these calibres and firing modes."""
    found: list[Reason] = []
    if not masks:
        found.append(reason("mask_missing"))
    if not markers and part == "player":
        found.append(reason("marker_missing"))
    for gear in (*masks, *markers, *bottles):
        found += unusable(gear, kit.player, moment.day)
        found += not_inspected(gear, moment.day)
    for marker in markers:
        found += wrong_set_up(marker, calibres, firing_modes)
    return found + unsuitable(bottles, markers)


def unusable(gear: Gear, player: str, day: date) -> list[Reason]:
    """Why this piece of gear serves this player not at all, hired or his own."""
    found: list[Reason] = []
    if gear.holder != player:
        detail = "Someone else holds it." if gear.holder else "Have it issued first."
        found.append(reason(f"{gear.KIND}_held_by_other", gear.tag, detail))
    if gear.faults:
        found.append(reason(f"{gear.KIND}_quarantined", gear.tag, f"Found: {_faults(gear)}."))
    if gear.inspection is not None and not gear.inspection.passed:
        found.append(reason(f"{gear.KIND}_failed", gear.tag))
    if isinstance(gear, Bottle) and gear.test_due is not None and gear.test_due < day:
        found.append(reason("bottle_out_of_test", gear.tag, f"Its test ran out after {gear.test_due}."))
    return found


def not_inspected(gear: Gear, day: date) -> list[Reason]:
    """A player's own gear is inspected anew each day, a marker with a barrel cover that fits. Hired gear is the park's to look after."""
    if gear.owner is None:
        return []
    seen = gear.inspection
    if seen is None or (seen.passed and seen.day != day):
        return [reason(f"{gear.KIND}_not_inspected", gear.tag)]
    if isinstance(gear, Marker) and not (seen.cover and seen.day == day):
        return [reason("barrel_cover_missing", gear.tag)]
    return []


def wrong_set_up(marker: Marker, calibres: Collection[str], firing_modes: Collection[str]) -> list[Reason]:
    """A marker plays where its calibre and its firing mode are allowed. A mode that nobody has recorded is not allowed anywhere."""
    found: list[Reason] = []
    if marker.calibre not in calibres:
        found.append(reason("wrong_calibre", marker.tag, f"It is {marker.calibre}; this field takes {_any(calibres)}."))
    if marker.firing_mode not in firing_modes:
        mode = marker.firing_mode or "of a mode that was not recorded"
        found.append(reason("wrong_firing_mode", marker.tag, f"It is {mode}; this field takes {_any(firing_modes)}."))
    return found


def unsuitable(bottles: Iterable[Bottle], markers: Iterable[Marker]) -> list[Reason]:
    """Each bottle must suit a marker that is carried with it, as far as the record knows their gas."""
    gases = {marker.gas for marker in markers}
    if not gases or None in gases:
        return []
    return [
        reason("bottle_gas_differs", bottle.tag, f"It holds {bottle.gas}; the marker takes {_any(map(str, gases))}.")
        for bottle in bottles
        if bottle.gas not in gases
    ]


def not_issuable(gear: Gear, player: str, day: date) -> list[Reason]:
    """Why the counter may not hand this piece of gear to this player: it is with someone else, or not fit for use."""
    found = [one for one in unusable(gear, player, day) if not one.code.endswith("_held_by_other")]
    code = f"{gear.KIND}_held_by_other"
    if gear.holder not in {None, player}:
        found.append(reason(code, gear.tag, "Someone else holds it: record its return or its hand-over first."))
    elif gear.owner not in {None, player}:
        found.append(reason(code, gear.tag, "It is a player's own and is given back to nobody else."))
    return found


def _faults(gear: Gear) -> str:
    return ", ".join(fault.replace("_", " ") for fault in sorted({fault for _, fault in gear.faults}))


def _any(words: Iterable[str]) -> str:
    return " or ".join(sorted(words)) or "none"
