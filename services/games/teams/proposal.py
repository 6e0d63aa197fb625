"""A proposal of teams: who is cleared, who goes together, the best two teams, and a sentence for everything that is not as one would wish.

It admits nobody. The referee on the field decides, and at the start everybody's clearance is asked again. Local law and the insurer's rules come first.
"""

from collections.abc import Iterable, Mapping
from hashlib import sha256
from typing import Final, cast

import msgspec
from msgspec import Struct

from contracts.envelope import Reason
from contracts.games import Entrant, FieldConfigured, Offender, Proposed
from contracts.problems import RuleForbids
from contracts.reasons import reason
from contracts.rules import TeamRules
from contracts.teams import Proposal, ProposeTeams, SplitGroup, Team, Waits
from contracts.words import Colour
from services.clearance import model as clearance
from services.clearance import play
from services.clearance.field import FIELD, FIELDS
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.duty import model as duty
from services.duty.states import FIELD_STAFF
from services.games.model import known_field, known_game
from services.games.states import GAME
from services.games.teams.optimum import Division, divide
from services.games.teams.results import RESULTS
from services.games.teams.strengths import Strength, strength, weighed, weights
from services.games.teams.strengths import subjects as strength_subjects
from services.games.teams.units import Unit, units, why_split
from services.registration.states import PLAYER

ENOUGH: Final = 2
"""Players without whom there are no two teams."""
WHY: Final = 0.1
"""Of the time, for what splitting the groups would save."""


class Staged(Struct, frozen=True):
    """Who is ready, with what each brings, and what keeps the field and the others from playing."""

    field: FieldConfigured
    places: int
    ready: Mapping[str, Strength]
    groups: Mapping[str, str | None]
    not_ready: tuple[Offender, ...]
    of_field: tuple[Reason, ...]
    sides: Mapping[str, int]
    split: Mapping[str, str]


def subjects(question: ProposeTeams, given: Given) -> set[Subject]:
    """The field and its staff, every field of the park, and all that clears each player and says what he brings."""
    wanted: set[Subject] = {*play.subjects(question.field, given), (FIELDS, "")}
    wanted |= {(FIELD, name) for name in given.of(FIELDS, "").names}
    wanted |= {(GAME, question.after)} if question.after else set()
    for player in question.players:
        wanted |= clearance.subjects(player, question.field)(given)
    return wanted | strength_subjects(question.players, given)


def staged(question: ProposeTeams, given: Given, moment: Moment) -> Staged:
    """Raises UnknownSubject for a field or game that the record does not know, RuleForbids for two teams of one colour."""
    _, configured = known_field(given, question.field)
    if question.after is not None:
        known_game(given, question.after)
    if question.colours[0] == question.colours[1]:
        raise RuleForbids(f"Both teams would wear {question.colours[0]}. Name two colours.", where="$.colours")
    players = sorted(set(question.players))
    against = {player: _against(given, player, question.field, moment) for player in players}
    ready = {player: strength(given, player) for player in players if not against[player]}
    groups = {player: given.of(PLAYER, player).group for player in ready}
    referees = duty.on_duty(given.of(FIELD_STAFF, question.field).roster, duty.REFEREES, moment.day)
    places = min(configured.capacity, referees * moment.rules.games.players_per_referee)
    states = (given.of(FIELD, name).configured for name in sorted(given.of(FIELDS, "").names))
    return Staged(
        field=configured,
        places=places,
        ready=ready,
        groups=groups,
        not_ready=tuple(Offender(player=one, reasons=tuple(found)) for one, found in against.items() if found),
        of_field=tuple(play.reasons(given, question.field, moment, None, min(places, len(ready)))),
        sides=_sides(question, given),
        split=why_split(groups, ready, (one for one in states if one is not None), question.split),
    )


def _against(given: Given, player: str, field: str, moment: Moment) -> list[Reason]:
    found = clearance.reasons(given, player, field, moment)
    return found if given.of(PLAYER, player).part == "player" else [*found, reason("not_playing")]


def _sides(question: ProposeTeams, given: Given) -> dict[str, int]:
    """The team, 0 or 1, that each was on in the game after which the teams are to change."""
    if question.after is None:
        return {}
    worn = {player: given.of(RESULTS, player).colours.get(question.after) for player in question.players}
    return {player: question.colours.index(colour) for player, colour in worn.items() if colour in question.colours}


def propose(question: ProposeTeams, given: Given, moment: Moment) -> Proposal:
    """Two teams of who is ready, or none and why. Takes no longer than the rule's seconds, and what reading the record takes."""
    stage, rules = staged(question, given, moment), moment.rules.games.teams
    made = units(stage.groups, stage.ready, stage.sides, stage.split)
    division = None
    if min(stage.places, len(stage.ready)) >= ENOUGH:
        tolerance = None if question.after is None else rules.tolerance_points
        division = divide(made, stage.places, weights(rules), rules.seconds, tolerance)
    teams = {} if division is None else _worn(division, question)
    return Proposal(
        field=question.field,
        proposed=_proposed(question, teams, moment) if teams else None,
        teams=tuple(
            Team(colour=colour, players=tuple(one for one, worn in teams.items() if worn == colour))
            for colour in question.colours
            if teams
        ),
        balance=weighed(teams, question.colours, stage.ready, rules) if teams else (),
        imbalance=division.imbalance if division else 0,
        bound=division.bound if division else 0,
        gap=division.gap if division else 0,
        proven=division is not None and division.full and division.fewest and division.gap == 0,
        places=stage.places,
        changes=_changes(division, stage.sides),
        waiting=_waiting(stage, made if division is None else division.waiting, division),
        split=_split(stage, division),
        not_ready=stage.not_ready,
        of_field=stage.of_field,
        why=tuple(_why(stage, division, rules)),
        basis=moment.basis,
    )


def _worn(division: Division, question: ProposeTeams) -> dict[str, Colour]:
    worn = {
        player: colour
        for team, colour in zip(division.teams, question.colours, strict=True)
        for unit in team
        for player in unit.players
    }
    return {player: worn[player] for player in sorted(worn)}


def _proposed(question: ProposeTeams, teams: Mapping[str, Colour], moment: Moment) -> Proposed:
    entrants = tuple(Entrant(player=one, colour=worn) for one, worn in teams.items())
    said = msgspec.json.encode((question.field, moment.position, question.colours, entrants))
    return Proposed(
        proposal=f"teams-{sha256(said).hexdigest()[:16]}",
        position=moment.position,
        colours=question.colours,
        entrants=entrants,
    )


def _changes(division: Division | None, sides: Mapping[str, int]) -> tuple[str, ...]:
    if division is None:
        return ()
    now = {player: side for side, team in enumerate(division.teams) for unit in team for player in unit.players}
    return tuple(sorted(player for player, side in now.items() if sides.get(player, side) != side))


def _waiting(stage: Staged, waiting: Iterable[Unit], division: Division | None) -> tuple[Waits, ...]:
    return tuple(
        Waits(players=unit.players, group=unit.group, sentence=_why_waiting(stage, unit, division)) for unit in waiting
    )


def _why_waiting(stage: Staged, unit: Unit, division: Division | None) -> str:
    if division is None:
        return "No teams can be made now."
    playing = sum(other.size for team in division.teams for other in team)
    if unit.size > (stage.places + 1) // 2:
        return f"No team has room for {_named(unit)}: field {stage.field.field} has {stage.places} places now. A larger field can take them."
    if playing + unit.size > stage.places:
        return f"No place is left for {_named(unit)}: field {stage.field.field} has {stage.places}. They are first for the next game."
    return f"With {_named(unit)} the teams would not be equal in number. They are first for the next game."


def _named(unit: Unit) -> str:
    return f"player {unit.players[0]}" if unit.size == 1 else f"group {cast('str', unit.group)} of {unit.size}"


def _split(stage: Staged, division: Division | None) -> tuple[SplitGroup, ...]:
    """The groups that in the end are not all on one team."""
    if division is None:
        return ()
    places = {
        player: where
        for where, side in enumerate((*division.teams, division.waiting))
        for unit in side
        for player in unit.players
    }
    torn = {group for group in stage.split if len({places[one] for one, of in stage.groups.items() if of == group}) > 1}
    return tuple(SplitGroup(group=group, sentence=stage.split[group]) for group in sorted(torn))


def _why(stage: Staged, division: Division | None, rules: TeamRules) -> Iterable[str]:
    """What keeps the teams from being equal, or from being at all."""
    if division is None:
        yield from _why_none(stage, rules)
        return
    if not division.full:
        yield "Time ran out before it was proven that no more players could take part, or that these have played least."
    if not division.fewest:
        yield "Time ran out before it was proven that no fewer players need change sides."
    apart = f"The teams lie {division.imbalance} points apart"
    if division.gap:
        yield f"{apart}. Whether up to {division.gap} points can be saved was not settled within {rules.seconds:g} s."
    if division.imbalance > division.best:
        yield f"{apart}; {division.best} would be the nearest, and more players would change sides."
    if division.imbalance > rules.tolerance_points:
        if not division.gap:
            yield f"{apart}, over the park's {rules.tolerance_points}. No teams of these players are nearer than {division.best}: proven."
        yield from _why_apart(stage, division, rules)


def _why_none(stage: Staged, rules: TeamRules) -> Iterable[str]:
    if stage.places < ENOUGH:
        yield "The referees on duty at this field allow nobody to play. Send a referee there."
    elif len(stage.ready) < ENOUGH:
        yield f"Ready: {len(stage.ready)}. Two teams need two players at least."
    else:
        yield (
            f"No two teams of equal numbers were found within {rules.seconds:g} s that keep every group whole. "
            "Ask whether a group may be split, or wait for others."
        )


def _why_apart(stage: Staged, division: Division, rules: TeamRules) -> Iterable[str]:
    """What splitting the groups that play would save, where that can be found out in the same time."""
    playing = {player: stage.groups[player] for team in division.teams for unit in team for player in unit.players}
    whole = {unit.group for team in division.teams for unit in team if unit.size > 1}
    if not whole:
        return
    apart = units(playing, stage.ready, {}, [group for group in playing.values() if group])
    found = divide(apart, len(playing), weights(rules), rules.seconds * WHY)
    if found is not None and found.imbalance < division.imbalance:
        yield f"With groups split they could lie {found.imbalance} points apart: keeping them whole costs the rest."
