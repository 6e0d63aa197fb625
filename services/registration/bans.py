"""Bans: who may not come to the park, until which day, and when a manager thinks better of it."""

from collections.abc import Iterable

from contracts.envelope import Data
from contracts.problems import NotInThatState
from contracts.registration import BanLifted, BanPerson, LiftBan, PersonBanned
from services.core.command import Moment
from services.core.fold import Given
from services.registration.known import known_person
from services.registration.model import banned
from services.registration.persons import Person


def ban_person(command: BanPerson, given: Given, moment: Moment) -> Iterable[Data]:
    _must_be_the_latest_word(known_person(given, command.person), moment)
    return [PersonBanned(person=command.person, until=command.until)]


def lift_ban(command: LiftBan, given: Given, moment: Moment) -> Iterable[Data]:
    person = known_person(given, command.person)
    if not banned(person, moment):
        raise NotInThatState(f"Person {command.person} is not banned. Nothing is to be done.", where="$.person")
    _must_be_the_latest_word(person, moment)
    return [BanLifted(person=command.person)]


def _must_be_the_latest_word(person: Person, moment: Moment) -> None:
    """The latest word holds; an earlier one would be recorded and change nothing."""
    if person.ban is not None and moment.occurred_at < person.ban.place[0]:
        raise NotInThatState(
            f"Person {person.person} was banned, or the ban lifted, at {person.ban.place[0]:%Y-%m-%d %H:%M} UTC, after what you "
            "record. Send it with the time of now.",
            where="$.occurred_at",
        )
