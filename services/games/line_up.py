"""Who wears which colour in a game, whether its teams were briefed, and how many heads its count lacked: what screens show beside its state."""

from datetime import datetime
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Recorded
from contracts.games import EntryRecorded, GameBriefed, GameCalled, GameStarted, HeadsCounted, PlayerAdmitted
from services.core.fold import Fold

Place = tuple[datetime, int]
"""When something happened, and its position where two things happened at once."""


class LineUp(Struct, frozen=True):
    """A game's colours, whether its teams were briefed since its list was last changed, and how many its last head-count lacked."""

    game: str
    colours: dict[str, str] = {}
    called: Place | None = None
    briefed: Place | None = None
    counted: Place | None = None
    short: int = 0

    @property
    def heard(self) -> bool:
        return self.briefed is not None and (self.called is None or self.called < self.briefed)


def _place(event: Recorded[Any]) -> Place:
    return event.occurred_at, event.position


def _called(line: LineUp, event: Recorded[GameCalled]) -> LineUp:
    colours = {entrant.player: entrant.colour for entrant in event.data.entrants}
    return replace(line, colours=dict(colours), called=_place(event))


def _briefed(line: LineUp, event: Recorded[GameBriefed]) -> LineUp:
    return replace(line, briefed=max(_place(event), line.briefed or _place(event)))


def _started(line: LineUp, event: Recorded[GameStarted]) -> LineUp:
    return replace(line, colours=line.colours | {one.player: one.colour for one in event.data.entrants})


def _admitted(line: LineUp, event: Recorded[PlayerAdmitted] | Recorded[EntryRecorded]) -> LineUp:
    data = event.data
    return line if data.colour is None else replace(line, colours={**line.colours, data.player: data.colour})


def _counted(line: LineUp, event: Recorded[HeadsCounted]) -> LineUp:
    if line.counted is not None and _place(event) < line.counted:
        return line
    return replace(line, counted=_place(event), short=max(0, event.data.expected - event.data.counted))


LINE_UP: Fold[LineUp] = Fold(
    "board.line_up",
    "game",
    LineUp,
    {
        GameCalled: _called,
        GameBriefed: _briefed,
        GameStarted: _started,
        PlayerAdmitted: _admitted,
        EntryRecorded: _admitted,
        HeadsCounted: _counted,
    },
)
