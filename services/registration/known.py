"""What every command of the desk asks first: whether the record knows whom it names."""

from collections import Counter
from collections.abc import Sequence

from contracts.problems import RuleForbids
from services.core.command import Moment, must_know
from services.core.fold import Given
from services.registration.model import is_minor
from services.registration.persons import PERSON, Person
from services.registration.states import PLAYER, Player


def known_person(given: Given, person: str) -> Person:
    found = given.of(PERSON, person)
    must_know(found.registered, f"person:{person}")
    return found


def known_player(given: Given, player: str) -> Player:
    found = given.of(PLAYER, player)
    must_know(found.day, f"player:{player}")
    return found


def must_know_players(given: Given, players: Sequence[str]) -> None:
    """Each of a list, who stands on it once."""
    twice = [player for player, count in Counter(players).items() if count > 1]
    if twice:
        raise RuleForbids(f"More than once on the list: {', '.join(twice)}. Name each player once.", where="$.players")
    for player in players:
        known_player(given, player)


def must_know_adult(given: Given, person: str, moment: Moment, what: str) -> None:
    """Whoever answers for a child must be on record, and of age."""
    if is_minor(known_person(given, person).age_band, moment.rules):
        raise RuleForbids(f"{what} {person} is recorded as a minor. Name an adult.", where=f"person:{person}")
