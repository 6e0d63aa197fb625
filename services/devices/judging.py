"""Lines that were set aside, and the people who judge them, one or many at once: each is recorded after all, as it came, or dismissed. Only its hash stays."""

from asyncio import Lock
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from litestar import Request
from msgspec import Struct
from msgspec.structs import replace

from contracts.devices import Dismissal, LineAccepted, LineDismissed
from contracts.envelope import Command, Recorded
from contracts.problems import InFlight, NotAllowed, NotInThatState, Refused
from services.core import lines
from services.core.command import Handler
from services.core.fold import Fold
from services.core.in_order import InOrder, Told, at_work, passing
from services.core.lines import Cut
from services.core.log import Appended
from services.core.park import Answer, Asked, Caller, Park, digest_of, request_of
from services.core.rights import named
from services.core.routes import PATHS, asked
from services.core.set_aside import Kept, SetAside
from services.core.times import Contact

Judgement = LineAccepted | LineDismissed


class Line(Struct, frozen=True):
    """One line that was set aside, and what was made of it, by whom and when."""

    line: str
    judged: str = ""
    by: str = ""
    at: datetime | None = None


def _accepted(line: Line, event: Recorded[LineAccepted]) -> Line:
    return replace(line, judged="accepted", by=event.actor or event.device, at=event.recorded_at)


def _dismissed(line: Line, event: Recorded[LineDismissed]) -> Line:
    return replace(line, judged="dismissed", by=event.actor or event.device, at=event.recorded_at)


LINE: Fold[Line] = Fold("devices.line", "line", Line, {LineAccepted: _accepted, LineDismissed: _dismissed})


class Judging:
    """One request of a person who judges lines. `cause`: why they are dismissed; None: they are recorded."""

    def __init__(
        self, request: Request[Any, Any, Any], park: Park, command: Command, digest: bytes, cause: Dismissal | None
    ) -> None:
        self.aside = SetAside(request.app.state.pool, park.park)
        self.turn: Lock = request.app.state.turns[park.park, ""]
        """Of two people who judge the same lines, the second finds them judged."""
        self.asked = asked(request, park, digest)
        self._park = park
        self._command = command
        self._cause = cause
        self._outcome = "accepted" if cause is None else "dismissed"
        self._facts = request.app.state.facts

    async def before(self) -> Answer | None:
        """What the same request was answered; whatever broke off behind it is done now. Raises a Refused where this person may judge nothing."""
        answer = await self._park.first_answer(self.asked)
        if answer is not None:
            await self._forget(answer)
            return answer
        ready = await self._park.prepare(
            Handler(type(self._command), lambda *_: (), lambda *_: ()), self._command, self.asked
        )
        if ready.refused is not None:
            raise ready.refused
        return None

    async def judge(self, waiting: Sequence[Kept]) -> tuple[Answer | None, list[tuple[Kept, Refused]]]:
        """What is on record of these lines, judged in their order; and those that stay, each with why.

        What they tell is recorded before it is said that they were accepted: whatever breaks in between, the same request finishes it.
        Raises a Refused where it is not known yet what becomes of a line.
        """
        requests = [self._request(one) for one in waiting]
        with at_work(self._park, requests) as free:  # whoever sends one of them again meanwhile hears it afterwards
            if free < len(waiting):
                raise InFlight("One of these lines is coming again just now. Send the same in a second.", retry_after=1)
            return await self._judge(waiting, requests)

    async def _judge(
        self, waiting: Sequence[Kept], requests: Sequence[Told | Refused]
    ) -> tuple[Answer | None, list[tuple[Kept, Refused]]]:
        verdicts = await self._verdicts(waiting, requests)
        said = [one for one in verdicts if not isinstance(one, Refused)]
        stayed = [(line, one) for line, one in zip(waiting, verdicts, strict=True) if isinstance(one, Refused)]
        if not said:
            return None, stayed

        def decide(_: Command, given: Any, __: Any) -> list[Judgement]:
            new = [one for one in said if not given.of(LINE, one.line).judged]
            if not new:
                raise NotInThatState("Somebody else has judged this meanwhile. Nothing is left to judge.")
            return new

        handler: Handler[Any] = Handler(type(self._command), lambda *_: {(LINE, one.line) for one in said}, decide)
        answer = await self._park.execute(handler, self._command, self.asked)
        await self._forget(answer)
        return answer, stayed

    async def _verdicts(self, waiting: Sequence[Kept], read: Sequence[Told | Refused]) -> list[Judgement | Refused]:
        """Of each line what is to be said of it, or why it stays."""
        given, _ = await self._park.load(lambda _: {(LINE, one.id) for one in waiting})
        judged = [await self._judged_before(one, given.of(LINE, one.id)) for one in waiting]
        requests = [refused or one for one, refused in zip(read, judged, strict=True)]
        sent = [request_of(one.asked) for one in requests if isinstance(one, Told)]
        known = iter(await self._park.log.recall_all(sent))
        before = [next(known) if isinstance(one, Told) else None for one in requests]
        if self._cause is not None:
            dismissed = [self._dismiss(*one) for one in zip(waiting, before, strict=True)]
            return [refused or one for refused, one in zip(judged, dismissed, strict=True)]
        told = [_within_rights(*one) for one in zip(waiting, requests, before, strict=True)]
        recorded = iter(await self._recorded([one for one in told if isinstance(one, Told)]))
        outcomes = [next(recorded) if isinstance(one, Told) else one for one in told]
        return [self._accept(*one) for one in zip(waiting, outcomes, strict=True)]

    async def _judged_before(self, kept: Kept, line: Line) -> Refused | None:
        """Where the record says that it was judged, and whoever judged it broke off then, its bytes go now."""
        if line.at:
            await self.aside.judge([kept.id], line.judged, line.at, line.by)
        outcome = line.judged or kept.outcome  # the very line may have come again, and been recorded then
        return NotInThatState(f"Line {kept.id} was {outcome} already. Nothing is left to judge.") if outcome else None

    def _request(self, kept: Kept) -> Told | Refused:
        """The line as its own device sent it, when it sent it; or why it is no fact."""
        try:
            line, handler, command = lines.read(Cut(1, kept.claimed), self._facts)
        except Refused as refused:
            return refused
        first = Asked(
            id=line.key,
            digest=digest_of(line.command, bytes(line.body)),
            caller=Caller(device=kept.device, roles=kept.roles, actor=line.actor),
            contact=Contact(received_at=kept.received_at, device_time=kept.device_time, device_seq=line.seq),
        )
        return Told(handler, command, first)

    async def _recorded(self, told: Sequence[Told]) -> Sequence[Answer | Refused]:
        """A verdict each; raises the one that says that it is not known yet."""
        verdicts = await InOrder(self._park).execute(told)
        if verdicts and passing(verdicts[-1]):
            assert isinstance(verdicts[-1], Refused)  # noqa: S101 - for the types: nothing else is passing
            raise verdicts[-1]
        return verdicts

    def _accept(self, kept: Kept, outcome: Answer | Refused) -> Judgement | Refused:
        if isinstance(outcome, Refused):
            return outcome
        position = outcome.receipt.position
        return LineAccepted(
            line=kept.id, device=kept.device, position=position, sha256=kept.sha256.hex(), problem=_why(kept)
        )

    def _dismiss(self, kept: Kept, before: object) -> Judgement | Refused:
        if isinstance(before, Appended):
            return NotInThatState(
                f"What this line tells is recorded, at position {before.last}. Accept it: it is not recorded twice."
            )
        assert self._cause is not None  # noqa: S101 - for the types: else it is accepted
        return LineDismissed(
            line=kept.id, device=kept.device, cause=self._cause, sha256=kept.sha256.hex(), problem=_why(kept)
        )

    async def _forget(self, answer: Answer) -> None:
        """Of what was judged only its hash stays."""
        ids = [event.data.line for event in answer.receipt.events]
        await self.aside.judge(ids, self._outcome, self._park.clock.now(), self._by)

    @property
    def _by(self) -> str:
        return self.asked.caller.actor or self.asked.caller.device


def _within_rights(kept: Kept, request: Told | Refused, before: object) -> Told | Refused:
    """The request, or why its device could not have recorded it; what is recorded is."""
    if isinstance(request, Refused) or isinstance(before, Appended) or kept.roles & request.command.ROLES:
        return request
    return NotAllowed(
        f"Device {kept.device} was for {named(kept.roles)} when it sent this; {PATHS[type(request.command)]} takes one of "
        f"{named(request.command.ROLES)}. Record what happened by hand, and dismiss the line."
    )


def _why(kept: Kept) -> str:
    return kept.why.rpartition("/")[2]
