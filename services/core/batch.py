"""A batch as it comes in: its lines in order, each recorded or refused by itself, and a verdict each."""

from collections.abc import Awaitable, Callable, Mapping, Sequence
from datetime import datetime
from functools import partial
from typing import Any, Final

import msgspec
from litestar import Request, Response, post
from litestar.exceptions.http_exceptions import RequestEntityTooLarge
from litestar.params import FromPath

from contracts.answers import Problem
from contracts.batch import ANY_DEVICE, MOST_BYTES, MOST_LINES, NDJSON, BatchEnd, Verdict
from contracts.problems import (
    BodyTooLarge,
    Broken,
    DeviceRevoked,
    InFlight,
    LineCut,
    NotOffline,
    Refused,
    Unavailable,
    every,
)
from contracts.words import Instant
from services.core import lines, sequence
from services.core.auth import Device, require
from services.core.command import Handler
from services.core.identity import identified
from services.core.in_order import InOrder, Told, at_work, passing
from services.core.lines import Cut, Lines
from services.core.park import Answer, Asked, Caller, Park, digest_of
from services.core.pool import LOST, Pool
from services.core.routes import PATHS, first_said, header, must_be, park_of
from services.core.set_aside import Refusal, SetAside, line_id
from services.core.times import Contact

Facts = Mapping[str, Handler[Any]]
REFUSALS: Final = {kind.type_uri(): kind for kind in every()}
_ENCODER = msgspec.json.Encoder()


class Batch:
    """One batch of one device on its way, which `identify` says anew whenever lines have come. `resume` is the line to go on from once it has stopped; the rest is passed over."""

    def __init__(
        self,
        park: Park,
        identify: Callable[[], Awaitable[Device]],
        aside: SetAside,
        facts: Facts,
        device_time: datetime | None,
    ) -> None:
        self.verdicts: list[Verdict] = []
        self.resume: int | None = None
        self._park = park
        self._device = Device("", frozenset())
        self._identify = identify
        self._aside = aside
        self._facts = facts
        self._in_order = InOrder(park)
        self._ahead = None if device_time is None else device_time - park.clock.now()
        self._waiting: int | None = None

    async def take(self, cuts: Sequence[Cut]) -> None:
        """Lines that have come whole, the next ones: record them, and set aside what was refused."""
        few = [cut for cut in cuts if cut.number <= MOST_LINES]
        if few and self.resume is None:
            requests: Sequence[Told | Refused] = []
            try:
                self._device = await self._identify()  # a body may come in for hours, and a revocation holds at once
                requests = [self._read(cut) for cut in few]
                with at_work(self._park, requests) as free:  # nobody judges one of them meanwhile
                    requests = await self._but_for_dismissed(few, requests)
                    verdicts = await self._decide(requests[:free])
                if free < len(requests) and len(verdicts) == free:
                    verdicts.append(
                        InFlight("Another request with this key is at work. Send this line again in a second.")
                    )
                verdicts = await self._keep(few, requests, verdicts)
            except LOST:
                unavailable = Unavailable("The log cannot be reached. Send the same again from this line.")
                requests, verdicts = requests or [unavailable], [unavailable]
            self.verdicts += [self._told(*one) for one in zip(few, requests, verdicts, strict=False)]
            if passing(verdicts[-1]):
                self.resume = few[len(verdicts) - 1].number
        if len(few) < len(cuts) and self.resume is None:
            self.resume = MOST_LINES + 1

    def _read(self, cut: Cut) -> Told | Refused:
        try:
            line, handler, command = lines.read(cut, self._facts)
            require(self._device, command.ROLES)
        except Refused as refused:
            return refused
        now = self._park.clock.now()
        return Told(
            handler,
            command,
            Asked(
                id=line.key,
                digest=digest_of(line.command, bytes(line.body)),
                caller=Caller(device=self._device.id, roles=self._device.roles, actor=line.actor),
                contact=Contact(
                    received_at=now,
                    device_time=None if self._ahead is None else now + self._ahead,
                    device_seq=line.seq,
                ),
            ),
        )

    async def _but_for_dismissed(
        self, cuts: Sequence[Cut], requests: Sequence[Told | Refused]
    ) -> Sequence[Told | Refused]:
        """A line that a person has dismissed stays so, though it would fit by now: what happened is recorded otherwise."""
        ids = [line_id(self._device.id, cut.bytes) for cut in cuts]
        dismissed = await self._aside.dismissed(ids)
        return [
            REFUSALS[dismissed[name][0]](dismissed[name][1]) if name in dismissed else one
            for name, one in zip(ids, requests, strict=True)
        ]

    async def _decide(self, requests: Sequence[Told | Refused]) -> list[Answer | Refused]:
        """A verdict each, up to one that is passing."""
        asked = [one for one in requests if isinstance(one, Told)]
        decided = iter(await (self._recall(asked) if self._device.revoked else self._in_order.execute(asked)))
        verdicts: list[Answer | Refused] = []
        for one in requests:
            verdict = one if isinstance(one, Refused) else next(decided, None)
            if verdict is None:
                break
            verdicts.append(verdict)
        return verdicts

    async def _recall(self, asked: Sequence[Told]) -> list[Answer | Refused]:
        """Of a device that was revoked nothing new is recorded; what had been before gets its answer."""
        revoked = DeviceRevoked(
            "This device's key has been revoked. The line is set aside; a manager or the head referee decides on it."
        )
        found: list[Answer | Refused] = []
        for one in asked:
            try:
                found.append(await self._park.first_answer(one.asked) or revoked)
            except Refused as refused:
                found.append(refused)
        return found

    async def _keep(
        self, cuts: Sequence[Cut], requests: Sequence[Told | Refused], verdicts: list[Answer | Refused]
    ) -> list[Answer | Refused]:
        """The verdicts, once what they refuse is set aside; those before the first line that there was no room for, where there was none."""
        refused = [
            (at, self._refusal(cuts[at], requests[at], verdict))
            for at, verdict in enumerate(verdicts)
            if isinstance(verdict, Refused) and not passing(verdict)
        ]
        kept = [one for at, one in refused if not isinstance(verdicts[at], NotOffline)]
        numbers = [one.seq for at, one in refused if isinstance(verdicts[at], NotOffline) and one.seq is not None]
        if numbers:
            await self._aside.note(self._device.id, numbers)
        try:
            if kept:
                await self._aside.keep(self._device.id, self._device.roles, kept)
                self._waiting = None
        except Refused as full:
            first = next(at for at, one in refused if one in kept)
            return [*verdicts[:first], full]
        await self._came_again([cuts[at].bytes for at, verdict in enumerate(verdicts) if isinstance(verdict, Answer)])
        return verdicts

    async def _came_again(self, recorded: Sequence[bytes]) -> None:
        """A line that was set aside once, and is recorded now, waits for nobody any more."""
        if self._waiting is None:
            self._waiting = await self._aside.waiting(self._device.id)
        if self._waiting and recorded:
            ids = [line_id(self._device.id, one) for one in recorded]
            await self._aside.judge(ids, "recorded", self._park.clock.now(), None)

    def _refusal(self, cut: Cut, request: Told | Refused, verdict: Refused) -> Refusal:
        key, seq = lines.named(cut)
        now = self._park.clock.now()
        contact = request.asked.contact if isinstance(request, Told) else None
        return Refusal(
            claimed=cut.bytes,
            seq=seq,
            key=key,
            received_at=contact.received_at if contact else now,
            device_time=contact.device_time if contact else None if self._ahead is None else now + self._ahead,
            why=verdict.type_uri(),
            detail=verdict.detail,
        )

    def _told(self, cut: Cut, request: Told | Refused, verdict: Answer | Refused) -> Verdict:
        if isinstance(verdict, Answer) and isinstance(request, Told):
            asked, receipt = request.asked, first_said(verdict, type(request.command)).receipt
            return Verdict(line=cut.number, status=201, key=asked.id, seq=asked.contact.device_seq, receipt=receipt)
        assert isinstance(verdict, Refused)  # noqa: S101 - an answer has its request
        key, seq = lines.named(cut)
        path = f"/{PATHS[type(request.command)]}" if isinstance(request, Told) else ""
        return Verdict(
            line=cut.number,
            status=202 if isinstance(verdict, (DeviceRevoked, Broken)) else verdict.status,
            key=key,
            seq=seq,
            set_aside=not passing(verdict) and not isinstance(verdict, (NotOffline, LineCut)),
            problem=Problem(
                type=verdict.type_uri(),
                title=verdict.title,
                status=verdict.status,
                detail=verdict.detail,
                instance=f"/parks/{self._park.park}{path or '/batch'}",
                where=str(verdict.extensions.get("where", "")),
            ),
        )

    def cut_off(self, rest: Cut) -> None:
        """What stands behind the last line feed may be half a line: it is told, and neither recorded nor kept."""
        cut = LineCut(
            "The last line ends without a line feed, so it may have been cut. Nothing of it was recorded; send it again whole."
        )
        if self.resume is None:
            self.verdicts.append(self._told(rest, cut, cut))


@post(
    "/parks/{park:str}/batch",
    opt={"roles": ANY_DEVICE, "backlog": True},
    request_max_body_size=MOST_BYTES,
    status_code=200,
)
async def batch(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[bytes]:
    """Facts in the order of their lines, recorded as they stream in; the verdicts, and how far the log is signed."""
    where = park_of(request, park)
    must_be(NDJSON, request.headers, named=True, how=", one line each fact")
    device: Device = request.state.device
    pool: Pool = request.app.state.pool
    at = header(request.headers.get("device-time"), Instant, "Device-Time")
    identify = partial(identified, request, where.park, backlog=True)
    coming = Batch(where, identify, SetAside(pool, where.park), request.app.state.facts, at)
    cutter = Lines()
    turns = request.app.state.turns[where.park, device.id]
    try:
        async for chunk in request.stream():
            async with (
                turns
            ):  # of one device one after another; held while lines are recorded, never while bytes are waited for
                await coming.take(cutter.feed(chunk))
    except RequestEntityTooLarge:
        raise BodyTooLarge(
            f"A batch may have {MOST_BYTES} bytes. What came whole before that is recorded; send it again in several."
        ) from None
    if cutter.unended is not None:
        coming.cut_off(cutter.unended)
    try:
        epoch, signed = await sequence.signed(pool, where.park)
    except LOST:
        epoch, signed = where.epoch, 0
    end = BatchEnd(lines=len(coming.verdicts), epoch=epoch, signed=signed, resume=coming.resume)
    return Response(b"".join(_ENCODER.encode(one) + b"\n" for one in (*coming.verdicts, end)), media_type=NDJSON)
