"""Teams for the next game: asked for by who stands at staging, answered by a proposal that the referee may overrule."""

from typing import Annotated

from msgspec import Meta, Struct

from contracts.balance import Weighed
from contracts.envelope import Basis, Reason
from contracts.games import FIELD_AND_STAGING, Offender, Proposed
from contracts.problems import InvalidBody, MalformedBody, RuleForbids, UnknownSubject, UnsupportedMediaType
from contracts.read import BEHIND_A_KEY, Read
from contracts.words import Colour, FieldId, GameId, GroupId, PlayerId


class ProposeTeams(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who is at staging for the next game of a field. It writes nothing, whatever the answer."""

    field: FieldId
    players: Annotated[tuple[PlayerId, ...], Meta(min_length=1, max_length=400)]
    colours: tuple[Colour, Colour] = ("red", "blue")
    split: Annotated[tuple[GroupId, ...], Meta(max_length=100)] = ()
    """Groups that agreed to be on both teams."""
    after: GameId | None = None
    """A game that was one-sided: its teams are to change by as few players as will do."""


class Team(Struct, frozen=True, kw_only=True):
    colour: Colour
    players: tuple[str, ...]


class WaitingUnit(Struct, frozen=True, kw_only=True):
    """Players who are cleared and have no place in this game, and why: a group waits whole."""

    players: tuple[str, ...]
    group: str | None
    sentence: str


class SplitGroup(Struct, frozen=True, kw_only=True):
    """A group that plays on both teams, or in part, and why it could not be kept whole."""

    group: str
    sentence: str


class Proposal(Struct, frozen=True, kw_only=True):
    """Two teams, or none and why. Only a proposal: the referee on the field decides, and clearance is asked again at the start.

    `proposed` goes with the call of the game, whatever the referee changes in its list, and is None where there are no teams.
    """

    field: str
    proposed: Proposed | None
    teams: tuple[Team, ...]
    balance: tuple[Weighed, ...]
    imbalance: int
    """In points of the park rules, over all attributes."""
    bound: int
    """No teams of these players, their groups kept whole, come to fewer points than this."""
    gap: int
    """What may be won at most by searching on: 0 is the optimum, proven."""
    proven: bool
    """That no teams take more players, nor these players fewer points."""
    places: int
    """What the field's capacity and the referees on duty there allow."""
    changes: tuple[str, ...]
    """Who changes sides against the game that was named."""
    waiting: tuple[WaitingUnit, ...]
    split: tuple[SplitGroup, ...]
    not_ready: tuple[Offender, ...]
    of_field: tuple[Reason, ...]
    """What now keeps anybody from starting there."""
    why: tuple[str, ...]
    """Why the teams are no nearer to each other than they are, or why there are none."""
    basis: Basis


TEAM_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/games/propose-teams",
        summary="Teams for the next game of a field, from who of these players is cleared. A proposal: it writes nothing.",
        roles=FIELD_AND_STAGING,
        method="post",
        body=ProposeTeams,
        answer=Proposal,
        problems=(*BEHIND_A_KEY, MalformedBody, InvalidBody, UnsupportedMediaType, UnknownSubject, RuleForbids),
    ),
)
