"""Guardians: who consented for a child, and who answers for it in the park now.

Every child needs the consent of its own parent or legal guardian; a host or a teacher cannot sign for it. One such consent is enough,
but one guardian who takes consent back is enough too, until that same guardian consents again, or a manager voids the record of it. Whoever leaves names another adult,
who may do so in turn; an adult who is recorded as having left the park answers for nobody.
"""

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from typing import Final

from contracts.envelope import Reason
from contracts.reasons import reason
from services.core.command import Moment
from services.registration.persons import Consent, Person, Place
from services.registration.states import Player
from services.registration.waiver import in_term

OWN: Final = frozenset({"parent", "legal_guardian"})
"""Who can sign for a child."""


def adults(player: Player, person: Person) -> frozenset[str]:
    """Every adult who may have to answer for a child: its guardians, and whoever was named in the stead of one."""
    named = {consent.responsible for consent in person.consents.values()}
    named |= {responsible for _, responsible in player.adults_left.values()}
    return frozenset({*person.consents, *(adult for adult in named if adult is not None)})


def reasons(player: Player, person: Person, gone: AbstractSet[str], moment: Moment) -> list[Reason]:
    """Why nobody answers for a child. `gone`: those of its `adults` who have left the park today."""
    if person.opposed:
        return [reason("consent_missing", detail="A guardian has taken consent back.")]
    valid = {guardian: one for guardian, one in person.consents.items() if _counts(one, moment)}
    if not valid:
        return [reason("consent_missing")]
    if not _answering(player, valid, gone):
        return [reason("guardian_gone")]
    return []


def answering(player: Player, person: Person, gone: AbstractSet[str], moment: Moment) -> tuple[str, ...]:
    """The adults who answer for a child in the park now: to one of them it is handed. None where a guardian has taken consent back."""
    valid = {guardian: one for guardian, one in person.consents.items() if _counts(one, moment)}
    return () if person.opposed else tuple(sorted(_answering(player, valid, gone)))


def _answering(player: Player, consents: Mapping[str, Consent], gone: AbstractSet[str]) -> set[str]:
    found = {_answers(player, guardian, consent) for guardian, consent in consents.items()}
    return {adult for adult in found if adult is not None and adult not in gone}


def _counts(consent: Consent, moment: Moment) -> bool:
    accepted = consent.wording in moment.rules.waiver.accepted
    return consent.relationship in OWN and accepted and in_term(consent.place, moment)


def _answers(player: Player, guardian: str, consent: Consent) -> str | None:
    """Follows from the guardian to the adult he named, and from each who left to the next, forward in time."""
    adult: str | None = guardian
    since = consent.place
    if not consent.on_site and not _left_after(player, guardian, since):
        adult = consent.responsible
    while adult is not None and _left_after(player, adult, since):
        since, adult = player.adults_left[adult]
    return adult


def _left_after(player: Player, adult: str, since: Place) -> bool:
    left = player.adults_left.get(adult)
    return left is not None and left[0] > since
