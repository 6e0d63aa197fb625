"""Registration: whether a person may be let in at all: paid, signed for, of age, briefed, and still here.

Every child needs the consent of its own parent or legal guardian: a host or a teacher cannot sign for it. Whether a waiver binds is for
local law; here only stands who signed which wording when. For a minor both are asked: its own signature, that it has read the rules,
and its guardian's consent.
"""

from datetime import timedelta

from contracts.envelope import Reason
from contracts.reasons import reason
from contracts.rules import Rules
from services.core.command import Moment
from services.registration import money
from services.registration.money import Purse
from services.registration.states import Consent, Person, Place, Player


def is_minor(age_band: int, rules: Rules) -> bool:
    return age_band < rules.waiver.majority_years


def reasons(  # noqa: PLR0913, PLR0917 - a player, his papers, a field's floor, a moment
    player: Player, person: Person, purse: Purse, age_floor: int, moment: Moment, day_pass: str | None = None
) -> list[Reason]:
    """Every reason of the desk's why a player is not cleared for a field with this age floor in years.

    `day_pass` is the code that was presented, where one was.
    """
    if player.day is None or player.day != moment.day:
        return [reason("unknown_player")]
    found: list[Reason] = []
    if day_pass is not None and day_pass != player.day_pass:
        found.append(reason("pass_replaced"))
    if player.left:
        found.append(reason("left_park"))
    if banned(person, moment):
        found.append(reason("banned"))
    if player.part == "player":
        found += money.reasons(purse)
        if player.age_band < age_floor:
            found.append(reason("too_young", detail=f"It is for {age_floor} years and over."))
    found += _waiver(person, moment)
    if is_minor(player.age_band, moment.rules):
        found += _guardian(player, person, moment)
    return found + _briefing(player, moment.rules)


def banned(person: Person, moment: Moment) -> bool:
    """A ban holds through its last day."""
    if person.ban is None or not person.ban[1]:
        return False
    until = person.ban[2]
    return until is None or moment.day <= until


def _waiver(person: Person, moment: Moment) -> list[Reason]:
    """A waiver counts in a wording that is accepted, for as long as the rules say."""
    accepted = [place for wording, place in person.waivers.items() if wording in moment.rules.waiver.accepted]
    if any(_in_term(place, moment) for place in accepted):
        return []
    if accepted:
        return [reason("waiver_expired")]
    return [reason("waiver_old_version" if person.waivers else "waiver_missing")]


def _in_term(place: Place, moment: Moment) -> bool:
    return moment.now - place[0] <= timedelta(days=moment.rules.waiver.valid_days)


def _guardian(player: Player, person: Person, moment: Moment) -> list[Reason]:
    """One guardian's standing consent is enough, while he or the adult he named is there."""
    valid = {
        guardian: consent
        for guardian, consent in person.consents.items()
        if consent.stands
        and consent.relationship in {"parent", "legal_guardian"}
        and consent.wording in moment.rules.waiver.accepted
        and _in_term(consent.place, moment)
    }
    if not valid:
        return [reason("consent_missing")]
    if not any(_answers(player, guardian, consent) for guardian, consent in valid.items()):
        return [reason("guardian_gone")]
    return []


def _answers(player: Player, guardian: str, consent: Consent) -> bool:
    """Whether somebody on site answers for the child under this consent."""
    left = player.guardians_left.get(guardian)
    if left is not None and left[0] > consent.place:
        return left[1] is not None
    return consent.on_site or consent.responsible is not None


def _briefing(player: Player, rules: Rules) -> list[Reason]:
    """A new version binds whoever arrives after it; an urgent one binds everybody."""
    if not player.briefings:
        return [reason("briefing_missing")]
    due = max(player.briefing_due, rules.briefing.urgent_version)
    return [] if max(player.briefings) >= due else [reason("briefing_outdated")]
