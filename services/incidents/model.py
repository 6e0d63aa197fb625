"""Incidents: who may not play for his own sake, and what went wrong. Call the emergency services first; the record comes after."""

from collections.abc import Iterable

from contracts.envelope import Data, Reason
from contracts.incidents import (
    DeclareFit,
    IncidentRecorded,
    PlayerFit,
    PlayerUnfit,
    RecordIncident,
    RecordUnfit,
)
from contracts.problems import NotInThatState
from contracts.reasons import reason
from services.core.command import Moment, must_know
from services.core.fold import Given
from services.incidents.states import FITNESS, Fitness


def reasons(fitness: Fitness) -> list[Reason]:
    """Drunk, injured or unwell: nobody plays until a first aider or a manager has said that he may."""
    return [reason("unfit", detail=f"Recorded: {', '.join(fitness.causes)}.")] if fitness.causes else []


def record_unfit(command: RecordUnfit, given: Given, _: Moment) -> Iterable[Data]:
    must_know(given.of(FITNESS, command.player).registered, f"player:{command.player}")
    return [PlayerUnfit(player=command.player, cause=command.cause)]


def declare_fit(command: DeclareFit, given: Given, _: Moment) -> Iterable[Data]:
    fitness = given.of(FITNESS, command.player)
    must_know(fitness.registered, f"player:{command.player}")
    if not fitness.causes:
        raise NotInThatState(f"Player {command.player} is not recorded as unfit.", where="$.player")
    return [PlayerFit(player=command.player)]


def record_incident(command: RecordIncident, given: Given, _: Moment) -> Iterable[Data]:
    for player in command.players:
        must_know(given.of(FITNESS, player).registered, f"player:{player}")
    return [
        IncidentRecorded(
            incident=command.incident,
            kind=command.kind,
            field=command.field,
            game=command.game,
            players=command.players,
            markers=command.markers,
            masks=command.masks,
            emergency_services=command.emergency_services,
        )
    ]
