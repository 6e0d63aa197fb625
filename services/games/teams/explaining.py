"""A sentence for everything that is not as one would wish: who waits, who is split, why the teams are no nearer, or why there are none."""

from collections.abc import Iterable
from typing import Final, cast

from contracts.rules import TeamRules
from contracts.teams import SplitGroup, WaitingUnit
from services.games.teams.optimum import Division, divide
from services.games.teams.staging import Staged
from services.games.teams.strengths import near_enough, weights
from services.games.teams.units import Unit, units

ENOUGH: Final = 2
"""Players without whom there are no two teams."""
WHY: Final = 0.1
"""Of the time, for what splitting the groups would save."""


def waiting(stage: Staged, left: Iterable[Unit], division: Division | None) -> tuple[WaitingUnit, ...]:
    return tuple(
        WaitingUnit(players=unit.players, group=unit.group, sentence=_why_waiting(stage, unit, division))
        for unit in left
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


def split(stage: Staged, division: Division | None) -> tuple[SplitGroup, ...]:
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


def why(stage: Staged, division: Division | None, rules: TeamRules) -> Iterable[str]:
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
    near = near_enough(sum(unit.size for team in division.teams for unit in team), rules.favoured)
    if division.imbalance > near:
        if not division.gap:
            yield (
                f"{apart}; beyond {near} the stronger one may win more than {rules.favoured:.0%} of such games. "
                f"No teams of these players are nearer than {division.best}: proven."
            )
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
