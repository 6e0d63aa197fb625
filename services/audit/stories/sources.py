"""What a story rests on, read from the log by tag: the cost depends on the subject, not on the log."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, time, timedelta
from typing import Any

from contracts.discipline import CautionResolved
from contracts.envelope import Recorded
from contracts.park import RulesAdopted
from contracts.problems import UnknownSubject
from contracts.registration import PlayerRegistered
from contracts.rules import DEFAULT
from contracts.story import Story
from contracts.velocity import MarkerTested
from services.audit.stories.aftermath import concerned
from services.audit.stories.story import ALL, Span, tell
from services.audit.stories.withdrawals import tag_of
from services.core.log import Log, Row
from services.core.park import Park
from services.core.recent import recent
from services.discipline.states import RECORD, ROTATION


async def story_of(park: Park, tag: str, span: Span = ALL) -> Story:
    """The story of a tag, or the part of it that is asked for; raises UnknownSubject where nothing bears the tag."""
    head = await park.log.head()
    until = head.position if span.until is None else min(span.until, head.position)
    rows = await rows_of(park.log, tag, until, span)
    if not any(tag in recent(row.leaf).tags for row in rows) and not await park.log.story([tag], 0, until, 1):
        kind, _, subject = tag.partition(":")
        raise UnknownSubject(
            f"The record of {park.park} knows no {kind} {subject} up to position {until}. Check the spelling, or find the player by "
            "day pass, armband or time.",
            where=tag,
        )
    return tell(park.park, tag, rows, Span(order=span.order, after=span.after, until=until, limit=span.limit))


async def rows_of(log: Log, tag: str, until: int, span: Span = ALL) -> Sequence[Row]:
    """All that the telling of a tag rests on, in the order of positions: a superset of its own events in the span."""
    kind, _, subject = tag.partition(":")
    rows = await log.between(until, until)
    rules = await log.story(["rules"], 0, until)
    late = _late([recent(row.leaf) for row in rules])
    rows += rules
    if kind == "player":
        return _ordered([*rows, *await _of_player(log, subject, until, late)])
    page = await log.story([tag], span.after, until, None if span.limit is None else span.limit + 1)
    events = [recent(row.leaf) for row in page]
    rows += page
    later = {found for event in events if (found := tag_of(event)) is not None}
    if later:
        rows += await log.story(later, events[0].position, until)
    if any(isinstance(event.data, MarkerTested) for event in events):
        rows += await log.story(["fields"], 0, events[-1].position)
    for player in {player for event in events if (player := concerned(event)) is not None}:
        rows += await _of_player(log, player, until, late)
    return _ordered(rows)


def _ordered(rows: Iterable[Row]) -> list[Row]:
    """Each once, in the order of positions."""
    return sorted({row.position: row for row in rows}.values(), key=lambda row: row.position)


async def _of_player(log: Log, player: str, until: int, late: timedelta) -> list[Row]:
    """A player's day: his events, papers and cautions, and the games that may serve his sit-outs.

    `late`: how long after it happened anything may still be told by its own time.
    """
    rows = await log.story([RECORD.tag(player)], 0, until)
    events = [recent(row.leaf) for row in rows]
    if not events:
        return []
    tags = {tag for event in events for tag in _named(event)}
    rows += await log.story(tags, 0, until)
    since = await log.anew("park", events[0].position)
    over = min(until, await log.position_at(_over(events) + late))
    rotations = [ROTATION.tag(name) for name in RECORD.over(player, events).rotation_ids]
    games = await log.story(rotations, since, over)
    for field in _continuous(rotations, [recent(row.leaf) for row in games]):
        rows += await log.story([f"field:{field}"], await log.anew(f"field:{field}", events[0].position), over)
    return [*rows, *games]


def _named(event: Recorded[Any]) -> Iterable[str]:
    """The tags under which more is recorded of a player: his papers, and the cautions that were about nobody at first."""
    if isinstance(event.data, PlayerRegistered):
        yield f"person:{event.data.person}"
    elif isinstance(event.data, CautionResolved):
        yield f"caution:{event.data.caution}"


def _late(rules: Sequence[Recorded[Any]]) -> timedelta:
    """The longest that any version of the rules let a device come back after the fact."""
    adopted = [event.data.rules for event in rules if isinstance(event.data, RulesAdopted)]
    return timedelta(days=max(one.backdate_days for one in (DEFAULT, *adopted)))


def _over(events: Sequence[Recorded[Any]]) -> datetime:
    """When a player's day is over in every time zone."""
    return datetime.combine(max(event.day for event in events), time(), UTC) + timedelta(days=2)


def _continuous(rotations: Iterable[str], events: Sequence[Recorded[Any]]) -> set[str]:
    """The fields of their continuous games, where stops must be known."""
    folded = (ROTATION.over(ROTATION.subject(tag), [one for one in events if tag in one.tags]) for tag in rotations)
    return {field for rotation in folded for field in rotation.continuous_fields}
