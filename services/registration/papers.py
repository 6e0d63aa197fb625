"""Papers: waivers signed, a child's consents given and taken back, and who answers for it once its guardian leaves."""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.problems import NotInThatState, RuleForbids
from contracts.registration import (
    ConsentGiven,
    ConsentWithdrawn,
    GiveConsent,
    GuardianLeft,
    RecordGuardianLeft,
    SignWaiver,
    VoidWithdrawal,
    WaiverSigned,
    WithdrawalVoided,
    WithdrawConsent,
)
from services.core.command import Moment
from services.core.fold import Given
from services.registration.guardians import OWN
from services.registration.known import known_person, must_know_adult, must_know_players


def sign_waiver(command: SignWaiver, given: Given, _: Moment) -> Iterable[Data]:
    known_person(given, command.person)
    return [WaiverSigned(person=command.person, wording=command.wording, language=command.language)]


def give_consent(command: GiveConsent, given: Given, moment: Moment) -> Iterable[Data]:
    known_person(given, command.person)
    if command.relationship not in OWN:
        raise RuleForbids(
            "Only the child's own parent or legal guardian can consent: a host, a teacher or a friend cannot sign for it. "
            "Ask for the guardian's signature.",
            where="$.relationship",
        )
    _must_be_another(command.guardian, command.person)
    must_know_adult(given, command.guardian, moment, "Guardian")
    _must_name_another(given, command.guardian, command.responsible, moment)
    return [
        ConsentGiven(
            person=command.person,
            guardian=command.guardian,
            relationship=command.relationship,
            wording=command.wording,
            on_site=command.on_site,
            responsible=command.responsible,
        )
    ]


def withdraw_consent(command: WithdrawConsent, given: Given, _: Moment) -> Iterable[Data]:
    """Taken at anybody's word who is on record, and told before the consent itself if need be: the child plays no further."""
    known_person(given, command.person)
    _must_be_another(command.guardian, command.person)
    known_person(given, command.guardian)
    return [ConsentWithdrawn(person=command.person, guardian=command.guardian)]


def void_withdrawal(command: VoidWithdrawal, given: Given, moment: Moment) -> Iterable[Data]:
    """What it stands against must still stand, and have happened by then: a guardian may have taken consent back since."""
    person = known_person(given, command.person)
    known_person(given, command.guardian)
    if command.guardian not in person.opposed:
        raise NotInThatState(
            f"Person {command.guardian} is not recorded as having taken consent back for {command.person}. Nothing is to be done.",
            where="$.guardian",
        )
    if moment.occurred_at < person.withdrawals[command.guardian][0]:
        raise NotInThatState(
            f"Consent was taken back at {person.withdrawals[command.guardian][0]:%Y-%m-%d %H:%M} UTC, after what you record. "
            "Ask that guardian again, and send it with the time of now.",
            where="$.occurred_at",
        )
    return [WithdrawalVoided(person=command.person, guardian=command.guardian, error=command.error)]


def record_guardian_left(command: RecordGuardianLeft, given: Given, moment: Moment) -> Iterable[Data]:
    """The guardian, or whichever adult answers for the children by now."""
    must_know_players(given, command.players)
    known_person(given, command.guardian)
    _must_name_another(given, command.guardian, command.responsible, moment)
    return [GuardianLeft(players=command.players, guardian=command.guardian, responsible=command.responsible)]


def _must_be_another(guardian: str, child: str) -> None:
    if guardian == child:
        raise RuleForbids("Nobody consents for himself. Name the guardian.", where="$.guardian")


def _must_name_another(given: Given, guardian: str, responsible: str | None, moment: Moment) -> None:
    if responsible is None:
        return
    if responsible == guardian:
        raise RuleForbids(
            "The responsible adult is there in the guardian's stead: he cannot name himself. Name another, or nobody.",
            where="$.responsible",
        )
    must_know_adult(given, responsible, moment, "Responsible adult")
