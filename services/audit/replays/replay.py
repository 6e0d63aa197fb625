"""A day of the log replayed: to see whether each decision follows from what was recorded, or what would have been otherwise."""

from collections.abc import Collection
from datetime import date, datetime
from typing import Any, Final

from contracts.envelope import Recorded
from contracts.problems import PositionAhead, Refused, UnknownSubject
from contracts.rules import Rules
from contracts.what_if import Doubtful, Otherwise, Replayed, WhatIf
from services.audit.days import Range, recorded_on, story
from services.audit.moments.past import Past
from services.audit.replays import decisions, otherwise, what_if
from services.audit.replays.decisions import KINDS, MEMORY
from services.audit.replays.what_if import Question
from services.audit.replays.worlds import Before, Worlds, folded
from services.core.folds import States
from services.core.log import Log
from services.core.recent import recent
from services.core.rules import RULES, operating_day

TOGETHER: Final = 2000
"""Tags that are read by one query."""


async def what_if_at(log: Log, asked: WhatIf, now: datetime) -> Otherwise:
    """What would have been decided otherwise. Raises a `Refused` where the question names what the log does not hold."""
    head = await log.head()
    rules = (await Past(log, head.position).load(lambda _: ())).of(RULES, "").rules
    positions = await _range(log, asked, rules, now)
    _must_hold(asked.void, positions, head.position)
    question = Question(frozenset(asked.void), asked.rules)
    answer = await what_if.replay(story(log, positions), before(log, positions.first), question)
    day = asked.day or await _day_of(log, positions.first, rules, now)
    return otherwise.told(answer, asked, log.park, head.epoch, day, positions, rules)


async def replayed(log: Log, day: date | None, now: datetime) -> Replayed:
    """Every decision of a day held against what the record held before it."""
    head = await log.head()
    rules = (await Past(log, head.position).load(lambda _: ())).of(RULES, "").rules
    day = day or operating_day(rules, now)
    positions = await recorded_on(log, day, rules)
    worlds, seen, doubtful = Worlds(before(log, positions.first)), 0, list[Doubtful]()
    async for events in story(log, positions):
        await worlds.have(tag for event in events for tag in MEMORY.tags(event))
        for event in events:
            if type(event.data) in KINDS:
                seen += 1
                doubtful += await doubts(event, worlds)
            worlds.take(event, event)
    return Replayed(
        park=log.park,
        epoch=head.epoch,
        day=day,
        first=positions.first,
        last=positions.last,
        decisions_seen=seen,
        doubtful=tuple(doubtful),
    )


async def doubts(event: Recorded[Any], worlds: Worlds) -> list[Doubtful]:
    """Empty where a decision follows, to the letter, from what was recorded before it."""
    await worlds.have_for(lambda given: decisions.subjects(event.data, given))
    try:
        decided = decisions.decide(event, decisions.asked(event, worlds.recorded), worlds.recorded)
    except Refused as refused:
        return [Doubtful(position=event.position, type=event.type, sentence=f"It could not be asked: {refused.detail}")]
    if decided == (event.data,):
        return []
    was, anew = decisions.recorded(event.data), decisions.recorded(decided[0])
    sentence = f"Recorded: {otherwise.verdict(was)}. By what was recorded before it: {otherwise.verdict(anew)}."
    return [Doubtful(position=event.position, type=event.type, sentence=sentence)]


def before(log: Log, first: int) -> Before:
    """The states of tags as they were before a position."""

    async def states(tags: Collection[str]) -> dict[str, States]:
        found: dict[str, States] = {}
        wanted = list(tags) if first > 1 else []
        for start in range(0, len(wanted), TOGETHER):
            rows = await log.read_at(dict.fromkeys(wanted[start : start + TOGETHER], first - 1))
            found |= {tag: folded(tag, (recent(row.leaf) for row in told)) for tag, told in rows.items() if told}
        return found

    return states


async def _range(log: Log, asked: WhatIf, rules: Rules, now: datetime) -> Range:
    """From the opening of the day on which the first of the events was recorded to the end of the last one's, or until told to stop."""
    if asked.day is not None or not asked.void:
        positions = await recorded_on(log, asked.day or operating_day(rules, now), rules)
    else:
        first = await recorded_on(log, await _day_of(log, min(asked.void), rules, now), rules)
        last = await recorded_on(log, await _day_of(log, max(asked.void), rules, now), rules)
        positions = Range(first.first, last.last)
    if asked.until is None:
        return positions
    return Range(positions.first, min(positions.last, await log.position_at(asked.until)))


async def _day_of(log: Log, position: int, rules: Rules, now: datetime) -> date:
    """The operating day on which a position was recorded; today where there is none."""
    rows = await log.between(position, position)
    return operating_day(rules, recent(rows[0].leaf).recorded_at if rows else now)


def _must_hold(void: Collection[int], positions: Range, head: int) -> None:
    ahead = [position for position in void if position > head]
    if ahead:
        raise PositionAhead(f"The log ends at position {head}: there is no {ahead[0]} to leave out.", where="$.void")
    outside = [position for position in void if not positions.first <= position <= positions.last]
    if outside:
        replayed = (
            f"{positions.first} to {positions.last}" if positions.first <= positions.last else "of which there are none"
        )
        raise UnknownSubject(
            f"Position {outside[0]} is not among those replayed, {replayed}. "
            "Name its own day, a later `until`, or neither.",
            where="$.void",
        )
