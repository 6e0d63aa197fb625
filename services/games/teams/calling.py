"""A game called from a proposal: nobody is bound to it, and what was changed in it stands on the record with what that did to the balance.

Who changed it is the event's own actor and device. Both balances are summed from the record at the call, not taken from the device.
"""

from collections.abc import Iterable

from contracts.balance import Overruled
from contracts.envelope import Data
from contracts.games import CallGame, Proposed, TeamsCalled
from services.clearance.field import FIELD
from services.clearance.presence import PRESENCE
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.games import model
from services.games.model import known_player
from services.games.states import GAME
from services.games.teams.strengths import strength, subjects, weighed


def call_subjects(command: CallGame, given: Given) -> set[Subject]:
    """The game and its field; where it comes from a proposal, what each player brings."""
    wanted: set[Subject] = {(GAME, command.game), (FIELD, command.field)}
    if command.proposal is None:
        return wanted
    players = _players(command, command.proposal)
    return wanted | subjects(players, given) | {(PRESENCE, player) for player in players}


def call_game(command: CallGame, given: Given, moment: Moment) -> Iterable[Data]:
    """As any other call; from a proposal with what was overruled beside it. Raises UnknownSubject for a player nobody registered."""
    called = model.call_game(command, given, moment)
    return called if command.proposal is None else [*called, _beside(command, command.proposal, given, moment)]


def _players(command: CallGame, proposal: Proposed) -> list[str]:
    return sorted({one.player for one in (*command.entrants, *proposal.entrants)})


def _beside(command: CallGame, proposal: Proposed, given: Given, moment: Moment) -> TeamsCalled:
    players, rules = _players(command, proposal), moment.rules.games.teams
    for player in players:
        known_player(given, player)
    known = {player: strength(given, player) for player in players}
    before = {one.player: one.colour for one in proposal.entrants}
    after = {one.player: one.colour for one in command.entrants}
    return TeamsCalled(
        game=command.game,
        field=command.field,
        proposal=proposal.proposal,
        rested_on=proposal.position,
        overruled=tuple(
            Overruled(player=one, proposed=before.get(one), called=after.get(one))
            for one in players
            if before.get(one) != after.get(one)
        ),
        proposed=weighed(before, proposal.colours, known, rules),
        called=weighed(after, proposal.colours, known, rules),
    )
