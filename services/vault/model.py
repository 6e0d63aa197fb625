"""The rules of the vault: what is kept, what keeps it there, and when it may go. Local law comes before all of them."""

from collections.abc import Iterable
from datetime import date

from contracts.envelope import Data, Reason
from contracts.problems import InvalidBody, NotAllowed, NotInThatState
from contracts.reasons import reason
from contracts.rules import Rules
from contracts.vault import (
    RECORDERS,
    DetailKept,
    ErasePerson,
    ErasureRefused,
    KeepDetail,
    LegalHoldLifted,
    LegalHoldPlaced,
    LiftLegalHold,
    PersonErased,
    PlaceLegalHold,
)
from services.core.command import Moment, must_be_new, must_know
from services.core.fold import Given, Subject
from services.core.rights import named
from services.core.rules import operating_day
from services.vault.claims import claims_until
from services.vault.states import ENTRY, INJURED, INJURY, LEGAL_HOLD, LIFE, Life

CONCERNS = "It concerns "
"""Whose sake a reason is for, where it is a ward's: the words before the name."""


def keep_detail(command: KeepDetail, given: Given, moment: Moment, digest: str) -> Iterable[Data]:
    """The event of a detail that already lies in the vault, with its digest."""
    may_keep(command, given, moment)
    must_be_new(given.of(ENTRY, command.entry).kept, f"detail:{command.entry}")
    return [
        DetailKept(person=command.person, entry=command.entry, kind=command.kind, digest=digest, about=command.about)
    ]


def may_keep(command: KeepDetail, given: Given, moment: Moment) -> None:
    """What is asked before anything is sealed; no refusal repeats a word of the text."""
    allowed = RECORDERS[command.kind]
    if not moment.roles & allowed:
        raise NotAllowed(f"This device may not record that kind of detail; it takes one of {named(allowed)}.")
    life = given.of(LIFE, command.person)
    _must_not_be_erased(life)
    must_know(life.registered, f"person:{command.person}")
    if command.kind == "birth_date":
        _must_be_a_birth_date(command.text, operating_day(moment.rules, moment.now))


def _must_not_be_erased(life: Life) -> None:
    if life.erased:
        raise NotInThatState(
            f"person {life.person} has been erased, and stays so: nothing is kept under that name any more. "
            "Whoever comes again is registered as a new person.",
            where=f"person:{life.person}",
        )


def _must_be_a_birth_date(text: str, today: date) -> None:
    try:
        right = date.fromisoformat(text).isoformat() == text and text <= today.isoformat()
    except ValueError:
        right = False
    if not right:
        raise InvalidBody(
            "A birth date is written YYYY-MM-DD and does not lie in the future. Nothing was recorded.", where="$.text"
        )


def lives(person: str, given: Given) -> set[Subject]:
    """What an erasure rests on: the person and those he consented for, and every player that they were."""
    known = [given.of(LIFE, name) for name in _concerned(person, given) if (LIFE, name) in given]
    return {(LIFE, name) for name in _concerned(person, given)} | {
        (INJURED, player) for life in known for player in life.players
    }


def _concerned(person: str, given: Given) -> tuple[str, ...]:
    return (person, *given.of(LIFE, person).wards) if (LIFE, person) in given else (person,)


def in_the_way(person: str, given: Given, today: date, rules: Rules) -> list[Reason]:
    """Everything that keeps a person's data where they are, his own and that of whom he consented for."""
    found: list[Reason] = []
    for name in _concerned(person, given):
        ward = "" if name == person else f" {CONCERNS}{name}, for whom this person consented."
        found += _blocks(given.of(LIFE, name), given, today, rules, ward)
    return found


def _blocks(life: Life, given: Given, today: date, rules: Rules, ward: str) -> Iterable[Reason]:
    subject = f"person:{life.person}"
    for hold, cause in life.holds.items():
        yield reason("legal_hold", f"legal_hold:{hold}", f"Its cause: {cause.replace('_', ' ')}.{ward}")
    for incident in injury_holds(life, given):
        yield reason("injury_hold", f"incident:{incident}", ward.strip())
    until = claims_until(life, rules.vault)
    if until is not None and today <= until:
        yield reason("claims_period", subject, f"They stay through {until}, by the park rules {rules.version}.{ward}")
    if life.unreadable or any(given.of(INJURED, player).unreadable for player in life.players):
        yield reason("life_not_understood", subject, ward.strip())


def injury_holds(life: Life, given: Given) -> list[str]:
    """The recorded injuries, and whatever he is a witness of, of which no manager has said since that the data may go."""
    injuries = dict(life.seen)
    for player in life.players:
        for incident, position in given.of(INJURED, player).injuries.items():
            injuries[incident] = max(position, injuries.get(incident, 0))
    return [incident for incident, position in injuries.items() if position > life.lifted.get(incident, 0)]


def erase_person(command: ErasePerson, given: Given, moment: Moment) -> Iterable[Data]:
    life = given.of(LIFE, command.person)
    _must_not_be_erased(life)
    must_know(life.registered, f"person:{command.person}")
    reasons = in_the_way(command.person, given, operating_day(moment.rules, moment.now), moment.rules)
    if reasons:
        return [ErasureRefused(basis=moment.basis, reasons=tuple(reasons), person=command.person)]
    return [PersonErased(basis=moment.basis, person=command.person)]


def place_legal_hold(command: PlaceLegalHold, given: Given, _: Moment) -> Iterable[Data]:
    must_be_new(given.of(LEGAL_HOLD, command.hold).persons, f"legal_hold:{command.hold}")
    for name in command.persons:
        life = given.of(LIFE, name)
        _must_not_be_erased(life)
        must_know(life.registered, f"person:{name}")
    if command.incident is not None:
        must_know(given.of(INJURY, command.incident).known, f"incident:{command.incident}")
    return [LegalHoldPlaced(hold=command.hold, persons=command.persons, incident=command.incident, cause=command.cause)]


def lift_legal_hold(command: LiftLegalHold, given: Given, _: Moment) -> Iterable[Data]:
    if (command.hold is None) == (command.incident is None):
        raise InvalidBody("Name the hold, or the incident whose hold it is: one of the two.", where="$.hold")
    if command.hold is not None and command.persons:
        raise InvalidBody("A hold by its own name is lifted whole: name no persons.", where="$.persons")
    persons = _of_hold(command.hold, given) if command.hold else _of_injury(command, given)
    return [LegalHoldLifted(hold=command.hold, incident=command.incident, persons=persons)]


def _of_hold(name: str, given: Given) -> tuple[str, ...]:
    hold = given.of(LEGAL_HOLD, name)
    must_know(hold.persons, f"legal_hold:{name}")
    if hold.lifted:
        raise NotInThatState(f"legal hold {name} is lifted already.", where="$.hold")
    return hold.persons


def _of_injury(command: LiftLegalHold, given: Given) -> tuple[str, ...]:
    """Whose data the incident holds: of those the command names, or of all whom it concerns."""
    incident = command.incident or ""
    must_know(given.of(INJURY, incident).known, f"incident:{incident}")
    injury = given.of(INJURY, incident)
    persons = dict.fromkeys((*(given.of(INJURED, player).person for player in injury.players), *injury.persons))
    held = tuple(name for name in persons if name and incident in injury_holds(given.of(LIFE, name), given))
    if not held:
        raise NotInThatState(f"incident {incident} holds nobody's data, or not any more.", where="$.incident")
    if others := [name for name in command.persons if name not in held]:
        raise NotInThatState(f"incident {incident} does not hold the data of {', '.join(others)}.", where="$.persons")
    return tuple(dict.fromkeys(command.persons)) or held


def placing(command: PlaceLegalHold, _: Given) -> set[Subject]:
    of_incident = {(INJURY, command.incident)} if command.incident else set[Subject]()
    return {(LEGAL_HOLD, command.hold), *((LIFE, name) for name in command.persons), *of_incident}


def lifting(command: LiftLegalHold, given: Given) -> set[Subject]:
    """The hold itself; or the incident, its players, who they are, and every player that these were."""
    if command.hold is not None:
        return {(LEGAL_HOLD, command.hold)}
    if command.incident is None:
        return set()
    wanted: set[Subject] = {(INJURY, command.incident)}
    if (INJURY, command.incident) in given:
        wanted |= {(INJURED, player) for player in given.of(INJURY, command.incident).players}
    persons = {given.of(*one).person for one in wanted if one[0] is INJURED and one in given} - {""}
    persons |= set(given.of(INJURY, command.incident).persons)
    for name in persons:
        wanted |= {(LIFE, name)} | (
            {(INJURED, player) for player in given.of(LIFE, name).players} if (LIFE, name) in given else set()
        )
    return wanted
