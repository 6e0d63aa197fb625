"""One park in one process: reads what a command rests on, lets it be decided, and appends on condition that nothing has changed."""

import asyncio
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from hashlib import sha256
from typing import Any, TypeVar
from uuid import UUID, uuid5

import msgspec
from msgspec import Struct

from contracts import leaf
from contracts.answers import Receipt, ReceiptEvent
from contracts.catalogue import TYPES, carries_of, tags_of
from contracts.envelope import Command, Data, Event, Recorded, Refusal, Unknown
from contracts.problems import Contended, IdempotencyKeyReused, Refused, Unavailable
from contracts.words import Role
from services.core.clock import Clock
from services.core.command import Handler, Moment
from services.core.fold import Fold, Given, Subject
from services.core.log import (
    Append,
    Appended,
    Behind,
    Condition,
    Conflict,
    Draft,
    Head,
    Log,
    OutcomeUnknown,
    Request,
    RequestReused,
    Row,
)
from services.core.pool import LOST
from services.core.recent import recent
from services.core.rights import ACTOR, meet
from services.core.rules import RULES, operating_day
from services.core.times import Contact, occurred

C = TypeVar("C", bound=Command)
Reads = Callable[[Given], Iterable[Subject]]
TRIES = 8
REMEMBERED = 100_000


class Caller(Struct, frozen=True, kw_only=True):
    """Who sends a request: the device whose key it bears, and the member of staff at it."""

    device: str
    roles: frozenset[Role]
    actor: str | None = None


class Asked(Struct, frozen=True, kw_only=True):
    """One request: its id is its Idempotency-Key, and the id of its first event."""

    id: UUID
    digest: bytes
    caller: Caller
    contact: Contact


class Answer(Struct, frozen=True):
    receipt: Receipt
    refusal: Refusal | None


class Ready(Struct, frozen=True):
    """What a request comes to: its events, on condition that nothing changes meanwhile; or why it is refused."""

    asked: Asked
    data: tuple[Data, ...] = ()
    drafts: tuple[Draft, ...] = ()
    conditions: tuple[Condition, ...] = ()
    refused: Refused | None = None

    @property
    def append(self) -> Append:
        return Append(request_of(self.asked), self.drafts, self.conditions)


class Park:
    """Decides commands against the log of one park. States once folded are remembered and only brought up to date."""

    def __init__(self, park: str, log: Log, clock: Clock) -> None:
        self.park = park
        self.log = log
        self.clock = clock
        self.at_work: set[UUID] = set()
        """The keys of the requests that are at work in this process."""
        self._epoch = 0
        self._remembered: OrderedDict[Subject, tuple[int, Any]] = OrderedDict()

    @property
    def epoch(self) -> int:
        """The life of the log as it was last read; 0 before that."""
        return self._epoch

    async def execute(self, handler: Handler[C], command: C, asked: Asked) -> Answer:
        """Decide and record; raises a `Refused` when nothing was written. The same request again gets its first answer."""
        try:
            return await self._decide(handler, command, asked)
        except Refused:
            first = await self.first_answer(asked)
            if first is None:
                raise
            return first

    async def _decide(self, handler: Handler[C], command: C, asked: Asked) -> Answer:
        for attempt in range(TRIES):
            ready = await self.prepare(handler, command, asked)
            if ready.refused is not None:
                raise ready.refused
            try:
                appended = await self.log.append(ready.append)
            except Conflict:
                await asyncio.sleep(0.002 * attempt)
                continue
            except (RequestReused, Behind, OutcomeUnknown) as error:
                raise told(error, asked) from error
            return await self.answer(appended, ready)
        raise Contended(
            "Other stations kept changing the same players, gear or field. Nothing was recorded; send the same request again."
        )

    async def prepare(self, handler: Handler[C], command: C, asked: Asked) -> "Ready":
        """What a request comes to on the log as it is now; nothing is written. Raises Unavailable where the log cannot be read."""
        given, read = await self.load(lambda given: reads_of(handler, command, asked, given))
        return self.decide(handler, command, asked, given, read)

    def decide(  # noqa: PLR0913, PLR0917
        self, handler: Handler[C], command: C, asked: Asked, given: Given, read: dict[Subject, int], position: int = 0
    ) -> "Ready":
        """What a request comes to on states that were read at these positions; `position`: of the last event in them, where that is yet to be recorded."""
        try:
            rules = given.of(RULES, "").rules
            time = occurred(command, asked.contact, rules)
            day = operating_day(rules, time.at)
            moment = Moment(
                now=asked.contact.received_at,
                occurred_at=time.at,
                day=day,
                rules=rules,
                position=position or max(read.values()),
                device=asked.caller.device,
                roles=_rights(command, asked.caller, given, day),
            )
            data = tuple(handler.decide(command, given, moment))
        except Refused as refused:
            return Ready(asked, refused=refused)
        drafts = self._drafts(data, command, asked, moment, time.clock)
        return Ready(asked, data, drafts, _conditions(_resting_on(command, read)))

    async def answer(self, appended: Appended, ready: "Ready") -> Answer:
        """The answer to what was recorded: the first one again where it had been before."""
        return await self._recall(appended) if appended.repeat else self._answer(appended, ready.drafts, ready.data)

    async def load(self, reads: Reads) -> tuple[Given, dict[Subject, int]]:
        """Fold the subjects that `reads` names, asking it again until it names no more; with each the position it was read at.

        Raises Unavailable where the log cannot be read, or lacks what is known outside of it: what is decided on that would be wrong.
        """
        if self.log.behind:
            raise Unavailable(self.log.behind)
        given, read = Given(), dict[Subject, int]()
        wanted = {(RULES, ""), *reads(given)}
        while wanted:
            head = await self._bring_up_to_date(wanted)
            for subject in wanted:
                given.put(subject, self._remembered[subject][1])
                read[subject] = head.position
            wanted = set(reads(given)) - read.keys()
        return given, read

    async def _bring_up_to_date(self, wanted: Iterable[Subject]) -> Head:
        epoch = self._epoch
        known = {subject: self._remembered.get(subject, (0, None)) for subject in wanted}
        afters: dict[str, int] = {}
        for (fold, name), (position, _) in known.items():
            tag = fold.tag(name)
            afters[tag] = min(position, afters.get(tag, position))
        try:
            reading = await self.log.read(afters)
        except LOST as error:
            raise Unavailable("The log cannot be read. Nobody is cleared until it can; try again shortly.") from error
        if reading.head.epoch != epoch:
            self._begin_anew(reading.head.epoch)
            return await self._bring_up_to_date(wanted)
        events = {tag: [recent(row.leaf) for row in rows] for tag, rows in reading.events.items()}
        for (fold, name), (position, state) in known.items():
            newer = [event for event in events.get(fold.tag(name), ()) if event.position > position]
            self._remember((fold, name), reading.head.position, fold.over(name, newer, state))
        return reading.head

    def _begin_anew(self, epoch: int) -> None:
        """Forget every state of another life of the log: it may rest on events that this one lacks."""
        if epoch != self._epoch:
            self._epoch = epoch
            self._remembered.clear()

    def _remember(self, subject: Subject, position: int, state: Any) -> None:
        if self._remembered.get(subject, (0, None))[0] <= position:
            self._remembered[subject] = (position, state)
        self._remembered.move_to_end(subject)
        if len(self._remembered) > REMEMBERED:
            self._remembered.popitem(last=False)

    def _drafts(
        self, data: Sequence[Data], command: Command, asked: Asked, moment: Moment, clock: Any
    ) -> tuple[Draft, ...]:
        drafts = []
        for index, one in enumerate(data):
            tags = tags_of(one)
            event = Event(
                type=TYPES[type(one)],
                version=one.VERSION,
                id=asked.id if index == 0 else uuid5(asked.id, str(index)),
                day=moment.day,
                occurred_at=moment.occurred_at,
                claimed_at=command.occurred_at,
                clock=clock,
                device=asked.caller.device,
                device_seq=asked.contact.device_seq,
                actor=asked.caller.actor,
                tags=tags,
                data=msgspec.Raw(msgspec.json.encode(one)),
            )
            drafts.append(
                Draft(event.id, event.type, event.day, event.occurred_at, tags, carries_of(one), leaf.encode(event))
            )
        return tuple(drafts)

    def _answer(self, appended: Appended, drafts: Sequence[Draft], data: Sequence[Data]) -> Answer:
        leaves = (
            leaf.frame(self.park, appended.epoch, appended.first + index, appended.recorded_at, draft.body)
            for index, draft in enumerate(drafts)
        )
        events = tuple(
            ReceiptEvent(
                id=draft.id,
                type=draft.type,
                position=appended.first + index,
                leaf_sha256=leaf.leaf_hash(frame).hex(),
                data=one,
            )
            for index, (draft, one, frame) in enumerate(zip(drafts, data, leaves, strict=True))
        )
        return Answer(self._receipt(appended, events), _refusal(data))

    async def first_answer(self, asked: Asked) -> Answer | None:
        """What the request was answered when it was recorded, None where it was not; raises IdempotencyKeyReused."""
        try:
            appended = await self.log.recall(request_of(asked))
        except RequestReused as error:
            raise told(error, asked) from None
        return None if appended is None else await self._recall(appended)

    async def _recall(self, appended: Appended) -> Answer:
        return self.recalled(appended, await self.log.between(appended.first, appended.last))

    def recalled(self, appended: Appended, rows: Sequence[Row]) -> Answer:
        """The first answer anew, from the rows that were recorded."""
        recorded: list[Recorded[Any]] = [leaf.decode(row.leaf) for row in rows]
        events = tuple(
            ReceiptEvent(
                id=event.id,
                type=event.type,
                position=event.position,
                leaf_sha256=leaf.leaf_hash(row.leaf).hex(),
                data=event.data,
            )
            for event, row in zip(recorded, rows, strict=True)
        )
        return Answer(self._receipt(appended, events), _refusal([event.data for event in recorded]))

    def _receipt(self, appended: Appended, events: tuple[ReceiptEvent, ...]) -> Receipt:
        return Receipt(
            park=self.park,
            epoch=appended.epoch,
            position=appended.last,
            recorded_at=appended.recorded_at,
            repeat=appended.repeat,
            events=events,
        )


def _rights(command: Command, caller: Caller, given: Given, day: date) -> frozenset[Role]:
    """The roles in which a command is decided; raises NotAllowed."""
    if caller.actor is None:
        return caller.roles
    return meet(caller.roles, given.of(ACTOR, caller.actor), day, type(command))


def _resting_on(command: Command, read: dict[Subject, int]) -> dict[Subject, int]:
    """What must not have changed: all that was read; for a fact only whether the name it takes is free."""
    if not command.FACT:
        return read
    return {subject: position for subject, position in read.items() if subject[0].prefix == command.CLAIMS}


def _conditions(read: dict[Subject, int]) -> tuple[Condition, ...]:
    """One condition a tag: nothing newer of any type that a fold over it minds."""
    tags: dict[str, tuple[int, tuple[Fold[Any], ...]]] = {}
    for (fold, name), position in read.items():
        after, folds = tags.get(fold.tag(name), (position, ()))
        tags[fold.tag(name)] = (min(after, position), (*folds, fold))
    return tuple(Condition(tag, after, _minded(folds)) for tag, (after, folds) in tags.items())


def _minded(folds: Sequence[Fold[Any]]) -> frozenset[str]:
    """Where a fold minds what cannot be read, any type counts (none named): a newer version of us may write one unknown here."""
    if any(Unknown in fold.evolves for fold in folds):
        return frozenset()
    return frozenset[str]().union(*(fold.types for fold in folds))


def _refusal(data: Sequence[Data]) -> Refusal | None:
    return next((one for one in data if isinstance(one, Refusal)), None)


def reads_of(handler: Handler[C], command: C, asked: Asked, given: Given) -> list[Subject]:
    """What a request rests on besides the rules, as far as it can be told from what was read."""
    actors = [(ACTOR, asked.caller.actor)] if asked.caller.actor else []
    return [*handler.reads(command, given), *actors]


def request_of(asked: Asked) -> Request:
    return Request(asked.id, asked.caller.device, asked.digest)


def told(error: Exception, asked: Asked) -> Refused:
    """Why the log did not record it, as whoever asked is told."""
    if isinstance(error, RequestReused):
        return IdempotencyKeyReused(
            f"Idempotency-Key {asked.id} already names another request, or one of another device. Use a new UUIDv7 for each new request."
        )
    if isinstance(error, OutcomeUnknown):
        return Unavailable(
            "The log did not answer in time, so it is not known whether this was recorded. Send the same request again."
        )
    return Unavailable(str(error))


def digest_of(path: str, body: bytes) -> bytes:
    """What makes two requests the same: the command's path and the bytes of its body."""
    return sha256(path.encode() + b"\n" + body).digest()
