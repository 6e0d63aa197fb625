"""A proposal of teams: who is cleared, who goes together, the best two teams, and a sentence for everything that is not as one would wish.

It admits nobody. The referee on the field decides, and at the start everybody's clearance is asked again. Local law and the insurer's rules come first.
"""

from collections.abc import Mapping
from functools import partial
from hashlib import sha256

import msgspec

from contracts.games import Entrant, Proposed
from contracts.teams import Proposal, ProposeTeams, Team
from contracts.words import Colour
from services.core.command import Moment
from services.core.fold import Given
from services.games.teams.explaining import ENOUGH, split, waiting, why
from services.games.teams.optimum import Division, divide
from services.games.teams.staging import staged
from services.games.teams.strengths import near_enough, weighed, weights
from services.games.teams.units import units


def propose(question: ProposeTeams, given: Given, moment: Moment) -> Proposal:
    """Two teams of who is ready, or none and why. Takes no longer than the rule's seconds, and what reading the record takes."""
    stage, rules = staged(question, given, moment), moment.rules.games.teams
    made = units(stage.groups, stage.ready, stage.sides, stage.split)
    division = None
    if min(stage.places, len(stage.ready)) >= ENOUGH:
        tolerance = None if question.after is None else partial(near_enough, chance=rules.favoured)
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
        waiting=waiting(stage, made if division is None else division.waiting, division),
        split=split(stage, division),
        not_ready=stage.not_ready,
        of_field=stage.of_field,
        why=tuple(why(stage, division, rules)),
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
