"""Many requests of one device, one after another, many in one commit: each is decided on what those before it bring, and gets a verdict of its own."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any
from uuid import UUID

import structlog
from msgspec import Struct

from contracts import leaf
from contracts.envelope import Command
from contracts.problems import Broken, Contended, Refused
from services.core.command import Handler
from services.core.fold import Given, Subject
from services.core.log import Appended, Behind, Conflict, OutcomeUnknown, RequestReused
from services.core.park import TRIES, Answer, Asked, Park, Ready, reads_of, request_of, told
from services.core.rules import RULES
from services.core.writer import MOST_BYTES

MOST = 256
"""Requests in one commit."""
Verdict = Answer | Refused
Before = Appended | RequestReused
"""What became of a request that had come before."""
_logger = structlog.get_logger()


class Told(Struct, frozen=True):
    """One request, and what decides it."""

    handler: Handler[Any]
    command: Command
    asked: Asked


def passing(verdict: object) -> bool:
    """Whether it is not known yet what becomes of the request: it is sent again, and what stands behind it waits."""
    return isinstance(verdict, Refused) and verdict.passing


@contextmanager
def at_work(park: Park, requests: Sequence[Told | Refused]) -> Iterator[int]:
    """Holds the keys of these lines for the block, up to the first whose key another request holds: how many those are."""
    taken: set[UUID] = set()
    free = len(requests)
    for at, one in enumerate(requests):
        if isinstance(one, Told) and one.asked.id not in taken:
            if one.asked.id in park.at_work:
                free = at
                break
            taken.add(one.asked.id)
    park.at_work |= taken
    try:
        yield free
    finally:
        park.at_work -= taken


class InOrder:
    """Decides and records requests in their order. How many it tries at once follows from how many went together last."""

    def __init__(self, park: Park) -> None:
        self._park = park
        self._at_once = MOST

    async def execute(self, requests: Sequence[Told]) -> list[Verdict]:
        """A verdict each; behind one that is passing there are none."""
        verdicts: list[Verdict] = []
        tries = 0
        while len(verdicts) < len(requests):
            few = requests[len(verdicts) : len(verdicts) + self._at_once]
            found = await self._some(few)
            verdicts += found
            tries = 0 if found else tries + 1
            if tries == TRIES:
                verdicts.append(Contended("Other stations kept changing the same things. Send the same again."))
            if verdicts and passing(verdicts[-1]):
                break
            self._at_once = min(MOST, 2 * len(found)) if len(found) == len(few) else max(1, len(found))
        return verdicts

    async def _some(self, few: Sequence[Told]) -> list[Verdict]:
        """Verdicts on the first of these; none where another station was quicker than the very first."""
        before = await self._park.log.recall_all([request_of(one.asked) for one in few])
        try:
            ready = await self._decide([one for one, known in zip(few, before, strict=True) if known is None])
        except Refused as refused:
            return [refused]
        ours = {one.asked.id: one for one in ready}
        first: list[Ready | Before] = []
        for one, known in zip(few, before, strict=True):
            next_ = known or ours.pop(one.asked.id, None)
            if next_ is None:
                break
            first.append(next_)
        return await self._record(few, first)

    async def _decide(self, requests: Sequence[Told]) -> list[Ready]:
        """The first of these, as far as all that they rest on was read at once. Raises Unavailable."""
        given, read = await self._park.load(
            lambda given: [subject for one in requests for subject in _reads(one, given)]
        )
        by_tag: defaultdict[str, list[Subject]] = defaultdict(list)
        for fold, name in read:
            by_tag[fold.tag(name)].append((fold, name))
        ready: list[Ready] = []
        position, size = max(read.values()), 0
        asked: set[UUID] = set()
        for one in requests:
            subjects = {(RULES, ""), *_reads(one, given)}
            if size > MOST_BYTES or one.asked.id in asked or not subjects <= read.keys():
                break
            decided = self._decided(one, given, {subject: read[subject] for subject in subjects}, position)
            for draft in decided.drafts:
                position, size = position + 1, size + len(draft.body)
                frame = leaf.frame(
                    self._park.park, self._park.epoch, position, one.asked.contact.received_at, draft.body
                )
                event = leaf.decode(frame)
                for tag in draft.tags:
                    for fold, name in by_tag.get(tag, ()):
                        given.put((fold, name), fold.step(name, given.of(fold, name), event))
            asked.add(one.asked.id)
            ready.append(decided)
        return ready

    def _decided(self, one: Told, given: Given, read: dict[Subject, int], position: int) -> Ready:
        try:
            reads_of(one.handler, one.command, one.asked, given)
            return self._park.decide(one.handler, one.command, one.asked, given, read, position)
        except Refused as refused:
            return Ready(one.asked, refused=refused)
        except Exception as error:  # one request that breaks us must not hold up all that stands behind it
            _logger.error("a line broke", key=str(one.asked.id), exc_info=error)  # noqa: TRY400
            return Ready(one.asked, refused=Broken("Something broke on our side at this line. Report its key."))

    async def _record(self, few: Sequence[Told], first: Sequence[Ready | Before]) -> list[Verdict]:
        """Verdicts in order, up to the first that came otherwise than it was decided: what stands behind that is decided anew."""
        appends = [one.append for one in first if isinstance(one, Ready) and one.refused is None]
        try:
            outcomes = iter(await self._park.log.append_in_order(appends))
        except (Behind, OutcomeUnknown) as error:
            return [told(error, few[0].asked)]
        positions = [at for one in first if isinstance(one, Appended) for at in range(one.first, one.last + 1)]
        rows = {row.position: row for row in await self._park.log.at(positions)} if positions else {}
        verdicts: list[Verdict] = []
        for request, one in zip(few, first, strict=False):
            if isinstance(one, Appended):
                verdicts.append(self._park.recalled(one, [rows[at] for at in range(one.first, one.last + 1)]))
            elif isinstance(one, RequestReused):
                verdicts.append(told(one, request.asked))
            elif one.refused is not None:
                verdicts.append(one.refused)
            else:
                outcome = next(outcomes, None)
                if isinstance(outcome, Appended):
                    verdicts.append(await self._park.answer(outcome, one))
                elif outcome is not None and not isinstance(outcome, Conflict):
                    verdicts.append(told(outcome, request.asked))
                if not isinstance(outcome, Appended) or outcome.repeat:
                    break
        return verdicts


def _reads(one: Told, given: Given) -> list[Subject]:
    """What it rests on; nothing where that is refused or breaks, which the decision then says."""
    try:
        return reads_of(one.handler, one.command, one.asked, given)
    except Exception:  # noqa: BLE001 - the decision asks for the same again, and logs it
        return []
