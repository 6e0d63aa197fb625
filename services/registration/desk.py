"""What the desk may ask for, and what it reports: one function a command."""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.problems import AlreadyRecorded, NotInThatState, RuleForbids
from contracts.registration import (
    AssignRotation,
    BanLifted,
    BanPerson,
    BriefingHeld,
    ConsentGiven,
    ConsentWithdrawn,
    GiveConsent,
    GroupRegistered,
    GuardianLeft,
    HandOverMinor,
    HoldBriefing,
    LiftBan,
    MinorHandedOver,
    PassReissued,
    PaymentRecorded,
    PaymentVoided,
    PersonBanned,
    PersonRegistered,
    PlayerLeft,
    PlayerRegistered,
    PlayerReturned,
    RecordGuardianLeft,
    RecordLeft,
    RecordPayment,
    RecordReturn,
    RegisterGroup,
    RegisterPerson,
    RegisterPlayer,
    ReissuePass,
    RotationAssigned,
    SignWaiver,
    VoidPayment,
    WaiverSigned,
    WithdrawConsent,
)
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given
from services.registration.model import banned, is_minor
from services.registration.money import PAYMENT
from services.registration.states import ARMBAND, GROUP, PASS, PERSON, PLAYER, Player


def _known_players(given: Given, players: Iterable[str]) -> list[Player]:
    found = [given.of(PLAYER, name) for name in players]
    for player in found:
        must_know(player.day, f"player:{player.player}")
    return found


def _known_adult(given: Given, person: str, moment: Moment, what: str) -> None:
    """Whoever answers for a child must be on record, and of age."""
    adult = given.of(PERSON, person)
    must_know(adult.registered, f"person:{person}")
    if is_minor(adult.age_band, moment.rules):
        raise RuleForbids(f"{what} {person} is recorded as a minor. Name an adult.", where=f"person:{person}")


def register_person(command: RegisterPerson, given: Given, _: Moment) -> Iterable[Data]:
    must_be_new(given.of(PERSON, command.person).registered, f"person:{command.person}")
    return [PersonRegistered(person=command.person, age_band=command.age_band)]


def register_group(command: RegisterGroup, given: Given, _: Moment) -> Iterable[Data]:
    must_be_new(given.of(GROUP, command.group).registered, f"group:{command.group}")
    return [GroupRegistered(group=command.group, size=command.size, private_session=command.private_session)]


def register_player(command: RegisterPlayer, given: Given, moment: Moment) -> Iterable[Data]:
    """One person is one player a day, so that nobody sheds a caution by coming in again; a pass and a number name one player."""
    person = given.of(PERSON, command.person)
    must_know(person.registered, f"person:{command.person}")
    must_be_new(given.of(PLAYER, command.player).day, f"player:{command.player}")
    must_be_new(given.of(PASS, command.day_pass).player, f"pass:{command.day_pass}")
    if command.group is not None:
        must_know(given.of(GROUP, command.group).registered, f"group:{command.group}")
    if given.of(ARMBAND, str(command.armband)).day == moment.day:
        raise AlreadyRecorded(
            f"Armband {command.armband} is worn by someone else today. Take another.", where="$.armband"
        )
    if person.player is not None and person.player[0] == moment.day:
        raise AlreadyRecorded(
            f"This person is player {person.player[1]} today. If he left and came back, record his return.",
            where="$.person",
        )
    if banned(person, moment):
        raise NotInThatState("This person is banned from the park. Only a manager lifts a ban.", where="$.person")
    return [
        PlayerRegistered(
            player=command.player,
            person=command.person,
            group=command.group,
            part=command.part,
            age_band=person.age_band,
            day_pass=command.day_pass,
            armband=command.armband,
            briefing_due=moment.rules.briefing.version,
        )
    ]


def reissue_pass(command: ReissuePass, given: Given, _: Moment) -> Iterable[Data]:
    (player,) = _known_players(given, [command.player])
    must_be_new(given.of(PASS, command.day_pass).player, f"pass:{command.day_pass}")
    return [
        PassReissued(player=command.player, day_pass=command.day_pass, replaces=player.day_pass, fault=command.fault)
    ]


def record_payment(command: RecordPayment, given: Given, _: Moment) -> Iterable[Data]:
    _known_players(given, command.players)
    must_be_new(given.of(PAYMENT, command.payment).players, f"payment:{command.payment}")
    return [
        PaymentRecorded(
            payment=command.payment,
            players=command.players,
            purpose=command.purpose,
            means=command.means,
            amount_minor=command.amount_minor,
        )
    ]


def void_payment(command: VoidPayment, given: Given, _: Moment) -> Iterable[Data]:
    payment = given.of(PAYMENT, command.payment)
    must_know(payment.players, f"payment:{command.payment}")
    if payment.voided:
        raise NotInThatState(f"Payment {command.payment} was withdrawn already.", where="$.payment")
    return [PaymentVoided(payment=command.payment, players=payment.players, error=command.error)]


def sign_waiver(command: SignWaiver, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(PERSON, command.person).registered, f"person:{command.person}")
    return [WaiverSigned(person=command.person, wording=command.wording, language=command.language)]


def give_consent(command: GiveConsent, given: Given, moment: Moment) -> Iterable[Data]:
    must_know(given.of(PERSON, command.person).registered, f"person:{command.person}")
    if command.relationship not in {"parent", "legal_guardian"}:
        raise RuleForbids(
            "Only the child's own parent or legal guardian can consent: a host, a teacher or a friend cannot sign for it. "
            "Ask for the guardian's signature.",
            where="$.relationship",
        )
    if command.guardian == command.person:
        raise RuleForbids("Nobody consents for himself. Name the guardian.", where="$.guardian")
    _known_adult(given, command.guardian, moment, "Guardian")
    if command.responsible is not None:
        _known_adult(given, command.responsible, moment, "Responsible adult")
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
    must_know(given.of(PERSON, command.person).registered, f"person:{command.person}")
    return [ConsentWithdrawn(person=command.person, guardian=command.guardian)]


def record_guardian_left(command: RecordGuardianLeft, given: Given, moment: Moment) -> Iterable[Data]:
    _known_players(given, command.players)
    must_know(given.of(PERSON, command.guardian).registered, f"person:{command.guardian}")
    if command.responsible is not None:
        _known_adult(given, command.responsible, moment, "Responsible adult")
    return [GuardianLeft(players=command.players, guardian=command.guardian, responsible=command.responsible)]


def hold_briefing(command: HoldBriefing, given: Given, moment: Moment) -> Iterable[Data]:
    _known_players(given, command.players)
    if command.version > moment.rules.briefing.version:
        raise RuleForbids(
            f"There is no briefing version {command.version}; version {moment.rules.briefing.version} is in force.",
            where="$.version",
        )
    return [
        BriefingHeld(
            briefing=command.briefing, version=command.version, language=command.language, players=command.players
        )
    ]


def assign_rotation(command: AssignRotation, given: Given, _: Moment) -> Iterable[Data]:
    _known_players(given, command.players)
    return [RotationAssigned(rotation=command.rotation, field=command.field, players=command.players)]


def record_left(command: RecordLeft, given: Given, moment: Moment) -> Iterable[Data]:
    """A minor does not just leave: it is handed to a named adult."""
    (player,) = _known_players(given, [command.player])
    if is_minor(player.age_band, moment.rules):
        raise RuleForbids(
            f"Player {command.player} is a minor: stay with it and record to which adult it is handed over.",
            where="$.player",
        )
    return [PlayerLeft(player=command.player)]


def hand_over_minor(command: HandOverMinor, given: Given, moment: Moment) -> Iterable[Data]:
    (player,) = _known_players(given, [command.player])
    if not is_minor(player.age_band, moment.rules):
        raise RuleForbids(f"Player {command.player} is of age: record that he left.", where="$.player")
    _known_adult(given, command.adult, moment, "Adult")
    return [MinorHandedOver(player=command.player, adult=command.adult)]


def record_return(command: RecordReturn, given: Given, moment: Moment) -> Iterable[Data]:
    (player,) = _known_players(given, [command.player])
    if not player.left or player.day != moment.day:
        raise NotInThatState(
            f"Player {command.player} is not recorded as having left today. On another day register him anew.",
            where="$.player",
        )
    return [PlayerReturned(player=command.player)]


def ban_person(command: BanPerson, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(PERSON, command.person).registered, f"person:{command.person}")
    return [PersonBanned(person=command.person, until=command.until)]


def lift_ban(command: LiftBan, given: Given, moment: Moment) -> Iterable[Data]:
    person = given.of(PERSON, command.person)
    must_know(person.registered, f"person:{command.person}")
    if not banned(person, moment):
        raise NotInThatState(f"Person {command.person} is not banned.", where="$.person")
    return [BanLifted(person=command.person)]
