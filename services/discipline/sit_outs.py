"""Sit-outs: which cautions have been served, and by what.

A sit-out binds to the rotation that the player plays in: that rotation's next full game which starts after the act serves it, while
he is on the park and not on its list. Games of other rotations, abandoned ones, ones too short and ones that had started before do
not. A continuous game has no next one: there a sit-out is served by minutes of play without him, stops not counted, whether or not
the game is abandoned later. One game, and one minute, serves one sit-out. Common practice, no source.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta

from msgspec import Struct

from contracts.rules import GameRules
from services.discipline.states import Entry, Place, Record, Rotation, Run

Span = tuple[datetime, datetime]
Stops = Mapping[str, Sequence[tuple[datetime, datetime | None]]]
"""For each field when play was stopped, and until when; None while it still is."""


class Chance(Struct, frozen=True):
    """What may serve a sit-out: a full game, or a stretch of minutes in a continuous one."""

    start: Place
    end: datetime
    by_minutes: bool


def served(
    record: Record, rotations: Mapping[str, Rotation], rules: GameRules, now: datetime, stops: Stops
) -> frozenset[str]:
    """The cautions whose sit-out has been served by now, voided ones among them.

    A game served for a caution that was voided since stays served, and spares the player another.
    """
    done: set[str] = set()
    minutes = timedelta(minutes=rules.continuous_sit_out_minutes)
    left = dict.fromkeys((one.caution for one in record.entries), minutes)
    for chance in _chances(record, rotations, now, stops):
        spared = sum(1 for one in record.entries if one.caution in done and _voided_by(one, chance.end))
        waiting = [one for one in _owing(record) if one.caution not in done and _open(one, record, chance)]
        waiting = waiting[: max(0, len(waiting) - spared)]
        if chance.by_minutes:
            _serve_minutes(waiting, record, chance, left)
            done |= {one.caution for one in waiting if not left[one.caution]}
        elif waiting:
            done.add(waiting[0].caution)
    return frozenset(done)


def _owing(record: Record) -> list[Entry]:
    """Cautions that owe a sit-out, the first act first. One that weighs two sends the player home instead."""
    return sorted((one for one in record.entries if one.weight == 1), key=lambda one: one.place)


def _voided_by(entry: Entry, moment: datetime) -> bool:
    return entry.voided is not None and entry.voided[0] <= moment


def _until(entry: Entry, record: Record) -> datetime | None:
    """The moment from which a caution owed nothing more: withdrawn, or the player reinstated."""
    ends = [entry.voided[0]] if entry.voided else []
    if record.reinstated and entry.place[1] < record.reinstated[1]:
        ends.append(record.reinstated[0])
    return min(ends, default=None)


def _open(entry: Entry, record: Record, chance: Chance) -> bool:
    """Whether a caution could be served by that: a game must have started after the act and ended while the caution still stood."""
    until = _until(entry, record)
    if chance.by_minutes:
        return entry.place[0] < chance.end and (until is None or until > chance.start[0])
    return entry.place < chance.start and (until is None or until > chance.end)


def _serve_minutes(waiting: Iterable[Entry], record: Record, chance: Chance, left: dict[str, timedelta]) -> None:
    at = chance.start[0]
    for entry in waiting:
        begin = max(at, entry.place[0])
        end = min(chance.end, _until(entry, record) or chance.end)
        taken = min(left[entry.caution], max(timedelta(), end - begin))
        left[entry.caution] -= taken
        at = begin + taken


def _chances(record: Record, rotations: Mapping[str, Rotation], now: datetime, stops: Stops) -> list[Chance]:
    found: list[Chance] = []
    for rotation in rotations.values():
        for run in rotation.runs:
            if run.continuous:
                stretches = _stretches(record, rotation.rotation, run, now, stops)
                found += (Chance((start, run.started[1]), end, by_minutes=True) for start, end in stretches)
            elif run.full and run.ended and _missed(record, rotation.rotation, run):
                found.append(Chance(run.started, run.ended[0], by_minutes=False))
    return sorted(found, key=lambda chance: chance.start)


def _missed(record: Record, rotation: str, run: Run) -> bool:
    """Whether the player was in the rotation when a game started, on the park until it ended, and not on its list."""
    mine = [name for since, name in record.rotations if since < run.started][-1:]
    come = record.registered is not None and record.registered < run.started
    away = any(
        (run.ended is None or gone < run.ended) and (back is None or back > run.started)
        for gone, back in record.absences
    )
    return mine == [rotation] and come and not away and run.game not in record.lists


def _stretches(record: Record, rotation: str, run: Run, now: datetime, stops: Stops) -> list[Span]:
    """When a continuous game was played without the player while it was his rotation and he was on the park.

    None at all where the stops of its field are not known.
    """
    if run.field not in stops or record.registered is None:
        return []
    end = min(now, run.ended[0]) if run.ended else now
    begin = max(run.started[0], record.registered[0])
    spans = [(max(begin, since), until) for since, until in _in(record, rotation, end)]
    absences = [(gone[0], back[0] if back else None) for gone, back in record.absences]
    for since, until in (*stops[run.field], *absences, *_stays(record, run)):
        spans = [
            part for span in spans for part in ((span[0], min(span[1], since)), (max(span[0], until or end), span[1]))
        ]
    return [span for span in spans if span[0] < span[1]]


def _in(record: Record, rotation: str, end: datetime) -> list[Span]:
    """When the player was in a rotation, until some moment."""
    ends = [min(place[0], end) for place, _ in record.rotations[1:]]
    spans = zip(record.rotations, [*ends, end], strict=False)
    return [(since[0], until) for (since, name), until in spans if name == rotation]


def _stays(record: Record, run: Run) -> list[tuple[datetime, datetime | None]]:
    """When the player was in a game; None while he still is."""
    stays: list[tuple[datetime, datetime | None]] = []
    for way in record.ways_in:
        if way.game == run.game:
            out = (
                one.place
                for one in record.ways_out
                if one.field == run.field and one.game in {None, run.game} and one.place > way.place
            )
            first = min(out, default=None)
            stays.append((way.place[0], first[0] if first else None))
    return stays
