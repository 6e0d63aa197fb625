"""Lines that were set aside, and the people who judge them: each is recorded after all, as it came, or dismissed. Only its hash stays."""

from typing import Annotated, Any, Final

import msgspec
from litestar import Request, Response, get
from litestar.params import FromPath, FromQuery
from msgspec import Struct
from msgspec.structs import replace

from contracts import batch as told
from contracts.batch import ANY_DEVICE, JUDGES
from contracts.devices import AcceptLine, DismissLine, LineAccepted, LineDismissed
from contracts.envelope import Recorded
from contracts.problems import NotAllowed, NotInThatState, UnknownSubject
from contracts.words import DeviceId
from services.core import lines, sequence
from services.core.auth import Device
from services.core.command import Handler
from services.core.fold import Fold
from services.core.lines import Cut
from services.core.pages import NO_STORE
from services.core.park import Answer, Asked, Caller, Park, digest_of
from services.core.pool import Pool
from services.core.routes import alone, asked, park_of
from services.core.rules import RULES
from services.core.set_aside import Kept, SetAside
from services.core.times import Contact, occurred

LISTERS: Final = JUDGES | {"auditor"}
COUNTERS: Final = frozenset({"manager", "head_referee", "auditor"})


class Line(Struct, frozen=True):
    """One line that was set aside, and what was made of it."""

    line: str
    judged: str = ""


def _accepted(line: Line, _: Recorded[LineAccepted]) -> Line:
    return replace(line, judged="accepted")


def _dismissed(line: Line, _: Recorded[LineDismissed]) -> Line:
    return replace(line, judged="dismissed")


LINE: Fold[Line] = Fold("devices.line", "line", Line, {LineAccepted: _accepted, LineDismissed: _dismissed})


def must_wait(line: Line) -> None:
    """Raises NotInThatState where it was judged before."""
    if line.judged:
        raise NotInThatState(f"Line {line.line} was {line.judged} already. Nothing is left to judge.")


async def accept(request: Request[Any, Any, Any], park: Park, command: AcceptLine, digest: bytes) -> Answer:
    """Record the line first, then that it was accepted; whatever breaks in between, the same request finishes it."""
    wanted = asked(request, park, digest)
    first = await park.first_answer(wanted)
    if first is None:
        await _can_have_been_asked(park, command, wanted)
    kept = await _kept(request, park, command.line)
    if first is None:
        await _must_wait(request, park, command.line, wanted)
        position = (await _recorded(request, park, kept)).receipt.position

        def decide(one: AcceptLine, given: Any, _: Any) -> list[LineAccepted]:
            must_wait(given.of(LINE, one.line))
            hash_ = kept.sha256.hex()
            return [
                LineAccepted(line=one.line, device=kept.device, position=position, sha256=hash_, problem=_why(kept))
            ]

        first = await park.execute(Handler(AcceptLine, lambda one, _: {(LINE, one.line)}, decide), command, wanted)
    await _judged(request, park, command.line, "accepted", wanted)
    return first


async def dismiss(request: Request[Any, Any, Any], park: Park, command: DismissLine, digest: bytes) -> Answer:
    """Say so on the record, then forget the line's bytes."""
    wanted = asked(request, park, digest)
    first = await park.first_answer(wanted)
    if first is None:
        await _can_have_been_asked(park, command, wanted)
    kept = await _kept(request, park, command.line)
    if first is None:
        await _must_wait(request, park, command.line, wanted)

    def decide(one: DismissLine, given: Any, _: Any) -> list[LineDismissed]:
        must_wait(given.of(LINE, one.line))
        hash_ = kept.sha256.hex()
        return [LineDismissed(line=one.line, device=kept.device, cause=one.cause, sha256=hash_, problem=_why(kept))]

    answer = await park.execute(Handler(DismissLine, lambda one, _: {(LINE, one.line)}, decide), command, wanted)
    await _judged(request, park, command.line, "dismissed", wanted)
    return answer


async def _recorded(request: Request[Any, Any, Any], park: Park, kept: Kept) -> Answer:
    """The line as its own device sent it, when it sent it. Raises why it still cannot be recorded."""
    if kept.outcome is not None:  # it came again, and was recorded then
        raise NotInThatState(f"Line {kept.id} was {kept.outcome} already. Nothing is left to judge.")
    line, handler, command = lines.read(Cut(1, kept.claimed), request.app.state.facts)
    if not kept.roles & command.ROLES:
        raise NotAllowed(
            f"Device {kept.device} was for {', '.join(sorted(kept.roles)) or 'nothing'} when it sent this; {line.command} takes one of "
            f"{', '.join(sorted(command.ROLES))}. Record what happened by hand, and dismiss the line."
        )
    first = Asked(
        id=line.key,
        digest=digest_of(line.command, bytes(line.body)),
        caller=Caller(device=kept.device, roles=kept.roles, actor=line.actor),
        contact=Contact(received_at=kept.received_at, device_time=kept.device_time, device_seq=line.seq),
    )
    with alone(park, line.key):
        return await park.execute(handler, command, first)


async def _can_have_been_asked(park: Park, command: AcceptLine | DismissLine, by: Asked) -> None:
    """Raises ImpossibleTime before anything is done about the line."""
    given, _ = await park.load(lambda _: ())
    occurred(command, by.contact, given.of(RULES, "").rules)


async def _must_wait(request: Request[Any, Any, Any], park: Park, name: str, by: Asked) -> None:
    """Where the record says that it was judged, and whoever judged it broke off then, its bytes go now."""
    given, _ = await park.load(lambda _: {(LINE, name)})
    line = given.of(LINE, name)
    if line.judged:
        await _judged(request, park, name, line.judged, by)
    must_wait(line)


def _why(kept: Kept) -> str:
    return kept.why.rpartition("/")[2]


async def _kept(request: Request[Any, Any, Any], park: Park, line: str) -> Kept:
    kept = await _aside(request, park).find(line)
    if kept is None:
        raise UnknownSubject(f"No line {line} was set aside here. Ask for the list.", where=f"line:{line}")
    return kept


async def _judged(request: Request[Any, Any, Any], park: Park, line: str, outcome: str, by: Asked) -> None:
    await _aside(request, park).judge([line], outcome, park.clock.now(), by.caller.actor or by.caller.device)


def _aside(request: Request[Any, Any, Any], park: Park) -> SetAside:
    return SetAside(request.app.state.pool, park.park)


@get("/parks/{park:str}/devices/set-aside", opt={"roles": LISTERS})
async def set_aside(
    request: Request[Any, Any, Any],
    park: FromPath[str],
    device: FromQuery[Annotated[str | None, msgspec.Meta(max_length=64)]] = None,
    judged: FromQuery[bool] = False,  # noqa: FBT002 - a parameter of the query
) -> Response[told.SetAsides]:
    """The lines that wait for a person's judgement, the longest waiting first."""
    where = park_of(request, park)
    found, more = await _aside(request, where).list(device, judged=judged)
    shown = tuple(_shown(one) for one in found)
    return Response(told.SetAsides(park=where.park, lines=shown, more=more), headers=NO_STORE)


def _shown(kept: Kept) -> told.SetAside:
    return told.SetAside(
        line=kept.id,
        device=kept.device,
        seq=kept.seq,
        key=kept.key,
        received_at=kept.received_at,
        why=kept.why,
        detail=kept.detail,
        claimed=kept.claimed.decode("utf-8", "replace") if kept.outcome is None else None,
        sha256=kept.sha256.hex(),
        judged_at=kept.judged_at,
        judged_by=kept.judged_by,
        outcome=kept.outcome,
    )


@get("/parks/{park:str}/devices/{device:str}/sequence", opt={"roles": ANY_DEVICE})
async def device_sequence(
    request: Request[Any, Any, Any], park: FromPath[str], device: FromPath[DeviceId]
) -> Response[told.Sequence]:
    """Which of a device's own numbers are recorded, up to the log's end; the device itself, or who watches over all, may ask."""
    where = park_of(request, park)
    caller: Device = request.state.device
    if caller.id != device and not caller.roles & COUNTERS:
        raise NotAllowed(f"This is for {device} itself, or for one of {', '.join(sorted(COUNTERS))}.")
    pool: Pool = request.app.state.pool
    count = await sequence.count(pool, where.park, device)
    if not count.known:
        raise UnknownSubject(f"The record knows no device {device}. Check the spelling.", where=f"device:{device}")
    _, signed = await sequence.signed(pool, where.park)
    return Response(
        told.Sequence(
            park=where.park,
            device=device,
            epoch=count.epoch,
            position=count.position,
            held=count.held,
            refused=count.refused,
            holes=count.holes,
            set_aside=count.set_aside,
            signed=signed,
        ),
        headers=NO_STORE,
    )
