"""The desk: people get a record once and a day pass each day, hear the briefing, and are put into a rotation."""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.problems import AlreadyRecorded, NotInThatState, RuleForbids
from contracts.registration import (
    AgeBandRenewed,
    AssignRotation,
    BriefingHeld,
    GroupRegistered,
    HoldBriefing,
    PassReissued,
    PersonRegistered,
    PlayerRegistered,
    RegisterGroup,
    RegisterPerson,
    RegisterPlayer,
    ReissuePass,
    RenewAgeBand,
    RotationAssigned,
)
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given
from services.registration.known import known_person, known_player, must_know_players
from services.registration.model import banned
from services.registration.persons import PERSON, Person
from services.registration.states import ARMBAND, BRIEFINGS, FIELD, GROUP, PASS, PLAYER


def register_person(command: RegisterPerson, given: Given, _: Moment) -> Iterable[Data]:
    must_be_new(given.of(PERSON, command.person).registered, f"person:{command.person}")
    return [PersonRegistered(person=command.person, age_band=command.age_band)]


def renew_age_band(command: RenewAgeBand, given: Given, moment: Moment) -> Iterable[Data]:
    """People only grow older; who is here today is so at once."""
    person = known_person(given, command.person)
    if command.age_band <= person.age_band:
        raise NotInThatState(
            f"Person {command.person} is recorded as {person.age_band} or over already. An age band only rises.",
            where="$.age_band",
        )
    today = person.player_on(moment.day)
    return [AgeBandRenewed(person=command.person, player=today, age_band=command.age_band)]


def register_group(command: RegisterGroup, given: Given, _: Moment) -> Iterable[Data]:
    must_be_new(given.of(GROUP, command.group).known, f"group:{command.group}")
    return [GroupRegistered(group=command.group, size=command.size, private_session=command.private_session)]


def register_player(command: RegisterPlayer, given: Given, moment: Moment) -> Iterable[Data]:
    """A new day pass and an armband number that nobody wears that day, for a person who is not banned."""
    person = known_person(given, command.person)
    must_be_new(given.of(PLAYER, command.player).day, f"player:{command.player}")
    must_be_new(given.of(PASS, command.day_pass).players, f"pass:{command.day_pass}")
    if command.group is not None:
        must_know(given.of(GROUP, command.group).known, f"group:{command.group}")
    if given.of(ARMBAND, str(command.armband)).on(moment.day):
        raise AlreadyRecorded(
            f"Armband {command.armband} is worn by someone else that day. Take another.", where="$.armband"
        )
    _must_not_be_here(person, moment)
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


def _must_not_be_here(person: Person, moment: Moment) -> None:
    """One person is one player a day, so that nobody sheds a caution by coming in again."""
    already = person.player_on(moment.day)
    if already is not None:
        raise AlreadyRecorded(
            f"This person is player {already} that day. If he left and came back, record his return.",
            where="$.person",
        )


def reissue_pass(command: ReissuePass, given: Given, _: Moment) -> Iterable[Data]:
    player = known_player(given, command.player)
    must_be_new(given.of(PASS, command.day_pass).players, f"pass:{command.day_pass}")
    return [
        PassReissued(player=command.player, day_pass=command.day_pass, replaces=player.day_pass, fault=command.fault)
    ]


def hold_briefing(command: HoldBriefing, given: Given, _: Moment) -> Iterable[Data]:
    """Any version that the park has had can have been heard, also one that is no longer in force."""
    must_know_players(given, command.players)
    newest = given.of(BRIEFINGS, "").newest
    if command.version > newest:
        raise RuleForbids(
            f"There is no briefing version {command.version}; the newest is {newest}. Record which one was read.",
            where="$.version",
        )
    return [
        BriefingHeld(
            briefing=command.briefing, version=command.version, language=command.language, players=command.players
        )
    ]


def assign_rotation(command: AssignRotation, given: Given, _: Moment) -> Iterable[Data]:
    must_know_players(given, command.players)
    must_know(given.of(FIELD, command.field).known, f"field:{command.field}")
    return [RotationAssigned(rotation=command.rotation, field=command.field, players=command.players)]
