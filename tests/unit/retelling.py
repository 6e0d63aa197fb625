"""A what-if asked of a scenario, and the same answered by brute force: everything folded anew for every decision, in both worlds."""

import asyncio
from collections.abc import Iterable
from typing import Any

from contracts.envelope import Recorded
from contracts.rules import Rules
from services.audit.replays import decisions
from services.audit.replays.decisions import KINDS, Outcome
from services.audit.replays.retold import rests_on, retold
from services.audit.replays.standings import Differs
from services.audit.replays.what_if import Answer, Question, Turned, replay, turned
from services.core.fold import Given, Subject
from services.core.rules import RULES
from tests.unit.scenario import Scenario

Told = tuple[int, str | None, frozenset[str], frozenset[str]]
"""Position, player, and the codes of both worlds; `granted` stands for none."""


async def nothing_before(_tags: Any) -> dict[str, Any]:
    return {}


def what_if(day: Scenario, *void: int, rules: Rules | None = None) -> Answer:
    """The answer, all of the scenario replayed, in batches so small that they show."""

    async def story() -> Any:
        for start in range(0, len(day.events), 7):
            yield day.events[start : start + 7]

    return asyncio.run(replay(story(), nothing_before, Question(frozenset(void), rules)))


def decisions_told(found: Iterable[Turned]) -> list[Told]:
    return [(one.event.position, one.player, _codes(one.was), _codes(one.would_be)) for one in found]


def consequences_told(found: Iterable[Differs]) -> list[tuple[int, str, str, int, int]]:
    return [(one.event.position, one.player, one.what, one.was, one.would_be) for one in found]


def _codes(outcome: Outcome) -> frozenset[str]:
    return frozenset(one.code for one in outcome.reasons) or frozenset({"granted"} if outcome.granted else ())


class Naive:
    """One world: its events, folded from the first one for every question."""

    def __init__(self, events: list[Recorded[Any]]) -> None:
        self._events = events

    def before(self, event: Recorded[Any]) -> Given:
        """All that a decision reads, as of the position before it."""
        earlier = [one for one in self._events if one.position < event.position]
        given, read = Given(), set[Subject]()
        wanted = {(RULES, ""), *decisions.subjects(event.data, given)}
        while wanted:
            for fold, subject in wanted:
                tag = fold.tag(subject)
                given.put((fold, subject), fold.over(subject, (one for one in earlier if tag in one.tags)))
            read |= wanted
            wanted = set(decisions.subjects(event.data, given)) - read
        return given


def told_anew(events: Iterable[Recorded[Any]], rules: Rules) -> list[Recorded[Any]]:
    """Every event under other rules, each on what they had made of those before it."""
    told: list[Recorded[Any]] = []
    for event in events:
        given = Given()
        for fold, subject in rests_on(event):
            tag = fold.tag(subject)
            given.put((fold, subject), fold.over(subject, (one for one in told if tag in one.tags)))
        told.append(retold(event, rules, given))
    return told


def by_brute_force(day: Scenario, *void: int, rules: Rules | None = None) -> list[Told]:
    """Every decision that differs, without any of the short cuts."""
    cautions = {getattr(one.data, "caution", None) for one in day.events if one.position in void} - {None}
    left_out = {
        one.position
        for one in day.events
        if one.position in void or (one.type == "discipline.caution_resolved" and one.data.caution in cautions)
    }
    other = [one for one in day.events if one.position not in left_out]
    other = other if rules is None else told_anew(other, rules)
    recorded, otherwise = Naive(day.events), Naive(other)
    found: list[Turned] = []
    for event in day.events:
        if type(event.data) in KINDS and event.position not in left_out:
            given = recorded.before(event)
            command = decisions.asked(event, given)
            was = decisions.outcome(event, command, given)
            would_be = decisions.outcome(event, command, otherwise.before(event), rules)
            found += turned(event, was, would_be)
    return decisions_told(found)
