"""Many requests of one device, one after another: as many in one commit as do not rest on one another, each with a verdict of its own."""

import asyncio
from collections import defaultdict
from collections.abc import Sequence
from typing import Any
from uuid import UUID

import structlog
from msgspec import Struct

from contracts.envelope import Command
from contracts.problems import Broken, Contended, Refused
from services.core.command import Handler
from services.core.fold import Subject
from services.core.log import Appended, Behind, Conflict, OutcomeUnknown
from services.core.park import TRIES, Answer, Asked, Park, Ready, told
from services.core.writer import MOST_BYTES

MOST = 256
"""Requests in one commit."""
Verdict = Answer | Refused
_logger = structlog.get_logger()


class Told(Struct, frozen=True):
    """One request, and what decides it."""

    handler: Handler[Any]
    command: Command
    asked: Asked


def passing(verdict: object) -> bool:
    """Whether it is not known yet what becomes of the request: it is sent again, and what stands behind it waits."""
    return isinstance(verdict, Refused) and verdict.passing


class InOrder:
    """Decides and records requests in their order. How many it tries at once follows from how many went together last."""

    def __init__(self, park: Park) -> None:
        self._park = park
        self._at_once = 16

    async def execute(self, requests: Sequence[Told]) -> list[Verdict]:
        """A verdict each; behind one that is passing there are none."""
        verdicts: list[Verdict] = []
        tries = 0
        while len(verdicts) < len(requests):
            few = requests[len(verdicts) : len(verdicts) + self._at_once]
            ready = await asyncio.gather(*(self._ready(one) for one in few))
            first = independent(ready)
            found = await self._record(first)
            verdicts += found
            tries = 0 if found else tries + 1
            if tries == TRIES:
                verdicts.append(Contended("Other stations kept changing the same things. Send the same again."))
            if verdicts and passing(verdicts[-1]):
                break
            self._at_once = min(MOST, 2 * len(first)) if len(first) == len(few) else len(first)
        return verdicts

    async def _ready(self, one: Told) -> Ready:
        try:
            return await self._park.prepare(one.handler, one.command, one.asked)
        except Refused as refused:
            return Ready(one.asked, (), refused=refused)
        except Exception as error:  # one request that breaks us must not hold up all that stands behind it
            _logger.error("a line broke", key=str(one.asked.id), exc_info=error)  # noqa: TRY400
            return Ready(one.asked, (), refused=Broken("Something broke on our side at this line. Report its key."))

    async def _record(self, ready: Sequence[Ready]) -> list[Verdict]:
        """Verdicts in order, up to the first that other stations were quicker than: that one is decided anew."""
        held = next((at for at, one in enumerate(ready) if passing(one.refused)), len(ready))
        ready = ready[: held + 1]
        try:
            outcomes = await self._park.log.append_in_order([one.append for one in ready if one.refused is None])
        except (Behind, OutcomeUnknown) as error:
            return [told(error, ready[0].asked)]
        verdicts, rest = [], iter(outcomes)
        for one in ready:
            outcome = one.refused or next(rest, None)
            if outcome is None or isinstance(outcome, Conflict):
                break
            verdicts.append(self._verdict(one, outcome))
        return await asyncio.gather(*verdicts)

    async def _verdict(self, ready: Ready, outcome: Appended | Exception) -> Verdict:
        if isinstance(outcome, Appended):
            return await self._park.answer(outcome, ready)
        if not isinstance(outcome, Refused):
            return told(outcome, ready.asked)
        if passing(outcome):
            return outcome
        try:
            return await self._park.first_answer(ready.asked) or outcome
        except Refused as refused:
            return refused


def independent(ready: Sequence[Ready]) -> Sequence[Ready]:
    """The first of them, as far as none rests on what one before it brings, or repeats it; one at least.

    Of one that nothing is known to have been read for, it is not known what it rests on.
    """
    brought: defaultdict[str, set[str]] = defaultdict(set)
    asked: set[UUID] = set()
    size = 0
    for number, one in enumerate(ready):
        size += sum(len(draft.body) for draft in one.drafts)
        alone = one.asked.id in asked or size > MOST_BYTES or not one.rests_on or _rests_on(one.rests_on, brought)
        if number and alone:
            return ready[:number]
        asked.add(one.asked.id)
        for draft in one.drafts:
            for tag in draft.tags:
                brought[tag].add(draft.type)
    return ready


def _rests_on(subjects: Sequence[Subject], brought: defaultdict[str, set[str]]) -> bool:
    return any(not fold.types.isdisjoint(brought.get(fold.tag(name), ())) for fold, name in subjects)
