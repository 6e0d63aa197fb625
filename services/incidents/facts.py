"""What is told of an incident is recorded, always; closing it is asked for. Call the emergency services first."""

from collections.abc import Iterable
from typing import Final

from contracts.envelope import Data
from contracts.first_aid import TellOfIncident
from contracts.incidents import (
    CloseIncident,
    CustodyPassed,
    CustodyTaken,
    HelpArrived,
    HelpCalled,
    IncidentClosed,
    InjuryRecorded,
    NameWitness,
    NotificationRecorded,
    OutcomeRecorded,
    PassCustody,
    RecordHelpArrived,
    RecordHelpCalled,
    RecordInjury,
    RecordNotification,
    RecordOutcome,
    RecordScene,
    RecordTreatment,
    SceneRecorded,
    TakeCustody,
    TreatmentGiven,
    WithdrawEntry,
    WitnessNamed,
)
from contracts.problems import InvalidBody, NotInThatState, RuleForbids
from services.core.command import Moment, must_know
from services.core.fold import Given, Subject
from services.incidents.missing import missing
from services.incidents.record import Incident, Release
from services.incidents.states import FITNESS
from services.incidents.telling import INCIDENT, RELEASES
from services.incidents.withdrawing import withdrawal

TELLING: Final[dict[type[TellOfIncident], type[Data]]] = {
    RecordInjury: InjuryRecorded,
    RecordTreatment: TreatmentGiven,
    RecordOutcome: OutcomeRecorded,
    RecordScene: SceneRecorded,
    RecordHelpCalled: HelpCalled,
    RecordHelpArrived: HelpArrived,
    NameWitness: WitnessNamed,
    TakeCustody: CustodyTaken,
    PassCustody: CustodyPassed,
    RecordNotification: NotificationRecorded,
}
"""Each command with the event that says the same: facts need no knowledge of the incident, which may be told of later."""


def players_of(command: TellOfIncident) -> set[Subject]:
    player = getattr(command, "player", None)
    return {(FITNESS, player)} if player is not None else set()


def tell(command: TellOfIncident, given: Given, moment: Moment) -> Iterable[Data]:
    """Record what is told as it is told, once it is clear whom and what it names."""
    for fold, player in players_of(command):
        must_know(given.of(fold, player).registered, f"player:{player}")
    _must_be_clear(command, moment)
    event = TELLING[type(command)]
    return [event(**{name: getattr(command, name) for name in event.__struct_fields__})]


def _must_be_clear(command: TellOfIncident, moment: Moment) -> None:
    match command:
        case RecordInjury(player=str(), worker=str()) | RecordTreatment(player=str(), worker=str()):
            raise InvalidBody(_ONE_CASUALTY, where="$.worker")
        case RecordOutcome(player=str(), worker=str()):
            raise InvalidBody(_ONE_CASUALTY, where="$.worker")
        case NameWitness() if [command.person, command.player, command.staff].count(None) != 2:
            raise InvalidBody("Name one witness: a person, a player or one of staff.", where="$")
        case PassCustody() if (command.taker is None) == (command.outside is None):
            raise InvalidBody("Name who took it: one of staff, or who outside the park.", where="$.taker")
        case TakeCustody() | PassCustody() if not (command.marker or command.mask or command.bottle):
            raise InvalidBody("It names no gear. Name a marker, a mask or a bottle, or several of them.", where="$")
        case RecordScene(place=None, sky=None, paint_batch=None, bottles=(), tests=()):
            raise InvalidBody("It says nothing of the scene. Name the place, the weather or something else.", where="$")
        case RecordNotification(reminder=code):
            codes = [one.code for one in moment.rules.incidents.reminders]
            if code not in codes:
                known = ", ".join(codes) or "none"
                raise RuleForbids(f"The park rules have no reminder {code}. They have: {known}.", where="$.reminder")


_ONE_CASUALTY: Final = "Name the player or the worker: each casualty is told of by himself."


def closing(command: CloseIncident, given: Given) -> set[Subject]:
    """The incident, and every piece of gear that is evidence in it."""
    subject: Subject = (INCIDENT, command.incident)
    return {subject} | (evidence(given.of(INCIDENT, command.incident)) if subject in given else set())


def evidence(incident: Incident) -> set[Subject]:
    """Every piece of gear that is evidence in it, or was by an entry that is withdrawn."""
    pieces = (*incident.pieces, *(piece for one in incident.withdrawn for piece in one.impounds))
    named = (piece.partition(":") for piece in pieces)
    return {(RELEASES[kind], name) for kind, _, name in named}


def releases(incident: Incident, given: Given) -> dict[str, Release]:
    return {fold.tag(name): given.of(fold, name) for fold, name in evidence(incident)}


def withdrawing(command: WithdrawEntry, _: Given) -> set[Subject]:
    return {(INCIDENT, command.incident)}


def withdraw(command: WithdrawEntry, given: Given, _: Moment) -> Iterable[Data]:
    return [withdrawal(command, given.of(INCIDENT, command.incident))]


def close(command: CloseIncident, given: Given, moment: Moment) -> Iterable[Data]:
    """A record is closed complete, or with what is missing said."""
    incident = given.of(INCIDENT, command.incident)
    must_know(incident.known, f"incident:{command.incident}")
    if incident.closed:
        raise NotInThatState(
            f"Incident {command.incident} is closed, and nothing was told of it since.", where="$.incident"
        )
    lacks = missing(incident, releases(incident, given), moment.rules.incidents)
    if lacks and not command.incomplete:
        asked = " ".join(one.sentence for one in lacks)
        raise NotInThatState(
            f"The record of incident {command.incident} lacks: {asked} Record it, or close it as incomplete.",
            where="$.incomplete",
        )
    return [IncidentClosed(incident=command.incident, missing=tuple(dict.fromkeys(one.code for one in lacks)))]
