"""What if: the day replayed in two worlds, as it was recorded and with events left out or under other rules.

Facts stay facts: what people did afterwards is as recorded, in both worlds. Only the decisions are taken anew, each at its own moment, and
what cautions come to is computed anew. So nobody is said to have hit whom in a game that would not have been played.
"""

from collections.abc import AsyncIterator, Iterable, Sequence
from typing import Any

from msgspec import Struct

from contracts.discipline import CautionRecorded, CautionResolved
from contracts.envelope import Recorded
from contracts.rules import Rules
from services.audit.replays import decisions
from services.audit.replays.decisions import KINDS, MEMORY, Outcome, Reasons
from services.audit.replays.retold import rests_on, retold
from services.audit.replays.standings import Differs, Standings
from services.audit.replays.worlds import Before, Worlds

Story = AsyncIterator[Sequence[Recorded[Any]]]
"""The events of a range, in order, some at a time."""


class Question(Struct, frozen=True):
    """Events to leave out by position, rules that are to hold throughout, or both."""

    void: frozenset[int] = frozenset()
    rules: Rules | None = None


class Turned(Struct, frozen=True):
    """A decision that would have been another: on a player of a start, or on the whole of what was asked."""

    event: Recorded[Any]
    player: str | None
    was: Outcome
    would_be: Outcome


class Answer(Struct):
    """`void`: what was left out in the end."""

    void: set[int]
    seen: int
    turned: list[Turned]
    differs: list[Differs]


async def replay(story: Story, before: Before, question: Question) -> Answer:
    """Every decision and consequence that would have been another. `before` tells the states at which the story begins."""
    worlds, answer = Worlds(before), Answer(set(), 0, [], [])
    telling, standings = _Telling(question, worlds, answer.void), Standings(worlds, question.rules)
    async for events in story:
        await worlds.have(tag for event in events for tag in MEMORY.tags(event))
        for event in events:
            told = await telling.of(event)
            if type(event.data) in KINDS:
                answer.seen += 1
                if told is not None:
                    answer.turned += await _again(event, worlds, question.rules)
            worlds.take(event, told)
            answer.differs += await standings.after(event)
    return answer


class _Telling:
    """How the other world tells each event. With a caution goes the word on whom it was about, which only repeats it."""

    def __init__(self, question: Question, worlds: Worlds, void: set[int]) -> None:
        self._question = question
        self._worlds = worlds
        self._void = void
        self._cautions: set[str] = set()

    async def of(self, event: Recorded[Any]) -> Recorded[Any] | None:
        data = event.data
        if event.position in self._question.void or (
            isinstance(data, CautionResolved) and data.caution in self._cautions
        ):
            self._void.add(event.position)
            if isinstance(data, CautionRecorded):
                self._cautions.add(data.caution)
            return None
        if self._question.rules is None:
            return event
        await self._worlds.have(fold.tag(subject) for fold, subject in rests_on(event))
        return retold(event, self._question.rules, self._worlds.other)


async def _again(event: Recorded[Any], worlds: Worlds, rules: Rules | None) -> Iterable[Turned]:
    """A decision is taken anew only where it read something that differs."""
    if rules is None and worlds.same:
        return ()
    read = await worlds.have_for(lambda given: decisions.subjects(event.data, given))
    if rules is None and not worlds.differ(read):
        return ()
    command = decisions.asked(event, worlds.recorded)
    would_be = decisions.outcome(event, command, worlds.other, rules)
    if would_be == decisions.recorded(event.data):
        return ()
    return turned(event, decisions.outcome(event, command, worlds.recorded), would_be)


def turned(event: Recorded[Any], was: Outcome, would_be: Outcome) -> Iterable[Turned]:
    """What differs between two outcomes of one decision: on the whole, then on each player."""
    if codes(was.reasons) != codes(would_be.reasons):
        yield Turned(event, None, was, would_be)
    for player in dict.fromkeys((*was.players, *would_be.players)):
        before, after = was.against(player), would_be.against(player)
        if codes(before) != codes(after):
            yield Turned(event, player, _on(before), _on(after))


def _on(reasons: Reasons) -> Outcome:
    return Outcome(granted=not reasons, reasons=reasons)


def codes(reasons: Reasons) -> frozenset[tuple[str, str | None]]:
    """What reasons come to, whatever their details: how many games there are to miss is told as a consequence."""
    return frozenset((one.code, one.subject) for one in reasons)
