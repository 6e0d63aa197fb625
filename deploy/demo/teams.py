"""Games whose teams come from a proposal: asked for with everybody of the rotation, and now and then overruled."""

from typing import Any, Final

import msgspec

from contracts.games import CallGame, Entrant, Proposed
from contracts.teams import ProposeTeams
from deploy.demo.cast import Player
from deploy.demo.station import DemoError, Station

PROPOSED: Final = frozenset({("fern-1", 4), ("fern-2", 5)})
"""Rotation and number of these games. Nobody has a part in another story there who would have to be named at the start."""
OVERRULED: Final = frozenset({("fern-2", 5)})
"""Where the referee puts a child on the other team, beside whoever it asked for."""


async def proposal(staging: Station, field: str, players: list[Player]) -> dict[str, Any]:
    """Teams of who of these is ready."""
    answer = await staging.question(
        "games/propose-teams", ProposeTeams(field=field, players=tuple(player.name for player in players))
    )
    if answer["proposed"] is None:
        raise DemoError(f"no teams were proposed on {field}: {answer['why']}")
    return answer


def called(call: CallGame, answer: dict[str, Any], *, overruled: bool) -> CallGame:
    """The call of a game from a proposal: as it stands, or with its first player on the other side."""
    proposed = msgspec.convert(answer["proposed"], Proposed)
    first, *rest = proposed.entrants
    other = next(colour for colour in proposed.colours if colour != first.colour)
    entrants = (Entrant(player=first.player, colour=other), *rest) if overruled else proposed.entrants
    return msgspec.structs.replace(call, entrants=entrants, proposal=proposed)
