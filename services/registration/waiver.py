"""The waiver: whose signature counts. Whether it binds is for local law; here only stands who signed which wording when."""

from datetime import timedelta

from contracts.envelope import Reason
from contracts.reasons import reason
from services.core.command import Moment
from services.registration.persons import Person, Place


def reasons(person: Person, moment: Moment) -> list[Reason]:
    """A waiver counts in a wording that is accepted, for as long as the rules say."""
    accepted = [place for wording, place in person.waivers.items() if wording in moment.rules.waiver.accepted]
    if any(in_term(place, moment) for place in accepted):
        return []
    if accepted:
        return [reason("waiver_expired")]
    return [reason("waiver_old_version" if person.waivers else "waiver_missing")]


def in_term(place: Place, moment: Moment) -> bool:
    return moment.now - place[0] <= timedelta(days=moment.rules.waiver.valid_days)
