"""Registration: whether a person may be let in at all: paid, signed for, of age, briefed, and still here.

For a minor both are asked: its own signature on the waiver, that it has read the rules, and its guardian's consent. Referees,
photographers and chaperones sign and are briefed like everybody, but pay no entry.
"""

from collections.abc import Set as AbstractSet

from contracts.envelope import Reason
from contracts.reasons import reason
from contracts.rules import Rules
from services.core.command import Moment
from services.registration import guardians, money, waiver
from services.registration.money import Purse
from services.registration.persons import Person
from services.registration.states import Player


def is_minor(age_band: int, rules: Rules) -> bool:
    return age_band < rules.waiver.majority_years


def reasons(  # noqa: PLR0913, PLR0917 - a player, his papers, a field's floor, a moment
    player: Player,
    person: Person,
    purse: Purse,
    gone: AbstractSet[str],
    age_floor: int,
    moment: Moment,
    day_pass: str | None = None,
) -> list[Reason]:
    """Every reason of the desk's why a player is not cleared for a field with this age floor in years.

    `gone`: those of the `guardians.adults` of a child who have left the park today. `day_pass`: the code that was presented, if any.
    """
    if player.day is None or player.day != moment.day:
        return [reason("unknown_player")]
    found = _presented(player, day_pass)
    if player.left:
        found.append(reason("left_park"))
    if banned(person, moment):
        found.append(reason("banned"))
    if player.part == "player":
        found += money.reasons(purse)
        if player.age_band < age_floor:
            found.append(reason("too_young", detail=f"It is for {age_floor} years and over."))
    found += waiver.reasons(person, moment)
    if is_minor(player.age_band, moment.rules):
        found += guardians.reasons(player, person, gone, moment)
    return found + _briefing(player, moment.rules)


def banned(person: Person, moment: Moment) -> bool:
    """A ban holds through its last day."""
    ban = person.ban
    return ban is not None and not ban.lifted and (ban.until is None or moment.day <= ban.until)


def _presented(player: Player, day_pass: str | None) -> list[Reason]:
    """The pass in force is the latest; one that never was his is somebody else's, or nobody's."""
    if day_pass in {None, player.day_pass}:
        return []
    return [reason("pass_replaced" if day_pass in player.old_passes else "pass_unknown")]


def _briefing(player: Player, rules: Rules) -> list[Reason]:
    """A new version binds whoever arrives after it; an urgent one binds everybody."""
    if not player.briefings:
        return [reason("briefing_missing")]
    due = max(player.briefing_due, rules.briefing.urgent_version)
    return [] if max(player.briefings) >= due else [reason("briefing_outdated")]
