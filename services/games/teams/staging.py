"""Who is at staging: who of them is cleared, what each brings, who goes together, and what the field allows."""

from collections.abc import Mapping

from msgspec import Struct

from contracts.envelope import Reason
from contracts.games import FieldConfigured, Offender
from contracts.problems import RuleForbids
from contracts.reasons import reason
from contracts.teams import ProposeTeams
from services.clearance import model as clearance
from services.clearance import play
from services.clearance.field import FIELD, FIELDS
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.duty import model as duty
from services.duty.states import FIELD_STAFF
from services.games.model import known_field, known_game
from services.games.states import GAME
from services.games.teams.results import RESULTS
from services.games.teams.strengths import Strength, strength
from services.games.teams.strengths import subjects as strength_subjects
from services.games.teams.units import why_split
from services.registration.states import PLAYER


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
