"""The games of a field as the field sees them: which one waits, which one runs, and whose heads are still to be counted."""

from datetime import date

from msgspec import Struct
from msgspec.structs import replace

from contracts.envelope import Recorded
from contracts.games import (
    EntryRecorded,
    FieldSwept,
    GameAbandoned,
    GameCalled,
    GameEnded,
    GameStarted,
    HeadsCounted,
    OutVoided,
    PlayerFound,
)
from services.clearance.holds import Place


class Heads(Struct, frozen=True):
    """The latest word on whether everybody came off: a count, or a signed sweep."""

    place: Place
    settled: bool
    missing: tuple[str, ...] = ()
    search_open: bool = False
    expected: int = 0
    counted: int = 0
    overtaken: bool = False
    """Somebody was to be counted whom the count took for off the field: only another one, or a sweep, says that everybody came off."""


class Run(Struct, frozen=True):
    """One game as its field sees it."""

    game: str
    day: date
    started: bool = False
    over: Place | None = None
    heads: Heads | None = None

    @property
    def waiting(self) -> bool:
        """Called and not begun."""
        return not self.started and self.over is None

    @property
    def running(self) -> bool:
        return self.started and self.over is None

    @property
    def uncounted(self) -> bool:
        """It is over, and not everybody is known to be off the field. A count of before the end says nothing."""
        if not self.started or self.over is None:
            return False
        return self.heads is None or self.heads.place < self.over or not self.heads.settled


Runs = dict[str, Run]


def called(runs: Runs, event: Recorded[GameCalled]) -> Runs:
    """A game that is called anew changes nothing here. Settled games of earlier days are forgotten."""
    name = event.data.game
    if name in runs:
        return runs
    kept = {
        game: run for game, run in runs.items() if run.day >= event.day or run.waiting or run.running or run.uncounted
    }
    return {**kept, name: Run(name, event.day)}


def started(runs: Runs, event: Recorded[GameStarted]) -> Runs:
    name = event.data.game
    return {**runs, name: replace(runs.get(name, Run(name, event.day)), started=True)}


def over(runs: Runs, event: Recorded[GameEnded] | Recorded[GameAbandoned]) -> Runs:
    """The first end counts, by when it happened. A game not known any more was settled on an earlier day."""
    run = runs.get(event.data.game)
    if run is None:
        return runs
    place = (event.occurred_at, event.position)
    return {**runs, run.game: replace(run, over=place if run.over is None else min(run.over, place))}


def counted(runs: Runs, event: Recorded[HeadsCounted]) -> Runs:
    data = event.data
    settled = data.counted == data.expected
    place = (event.occurred_at, event.position)
    heads = Heads(place, settled, data.missing, expected=data.expected, counted=data.counted)
    return _heads(runs, data.game, heads)


def swept(runs: Runs, event: Recorded[FieldSwept]) -> Runs:
    """A sweep settles the field where the count named nobody, or where the search for them stays open."""
    run = runs.get(event.data.game)
    before = run.heads if run else None
    missing = before.missing if before else ()
    settled = event.data.search_open or (before is not None and not missing)
    place = (event.occurred_at, event.position)
    return _heads(runs, event.data.game, Heads(place, settled, missing, event.data.search_open))


def found(runs: Runs, event: Recorded[PlayerFound]) -> Runs:
    """One name fewer is missing; with the last of them the field is released and the search over. What was seen before the game's end says nothing."""
    run, seen = runs.get(event.data.game), event.occurred_at
    heads = run.heads if run else None
    if run is None or heads is None or event.data.player not in heads.missing or (run.over and seen < run.over[0]):
        return runs
    missing = tuple(player for player in heads.missing if player != event.data.player)
    everybody = not missing
    settled = heads.settled or (everybody and not heads.overtaken)
    heads = replace(heads, missing=missing, settled=settled, search_open=heads.search_open and not everybody)
    return {**runs, run.game: replace(run, heads=heads)}


def overlooked(runs: Runs, event: Recorded[OutVoided] | Recorded[EntryRecorded]) -> Runs:
    """Whoever was out by mistake, or went in unknown to the record, was not expected by a count of before: he may be on the field. Where that has been walked, or played on since, he is searched for."""
    run = runs.get(event.data.game or "")
    heads = run.heads if run else None
    if run is None or run.over is None or heads is None or heads.place < run.over:
        return runs
    names = list(runs)
    played = any(runs[name].started for name in names[names.index(run.game) + 1 :])
    missing = tuple(dict.fromkeys((*heads.missing, event.data.player)))
    search = heads.search_open or (played and heads.settled)
    expected = heads.expected + (event.data.player not in heads.missing)
    heads = replace(heads, missing=missing, expected=expected, settled=search, search_open=search, overtaken=not search)
    return {**runs, run.game: replace(run, heads=heads)}


def _heads(runs: Runs, game: str, heads: Heads) -> Runs:
    run = runs.get(game)
    if run is None or (run.heads is not None and heads.place < run.heads.place):
        return runs
    return {**runs, game: replace(run, heads=heads)}
