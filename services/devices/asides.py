"""What was set aside, over HTTP: in groups, line by line, and judged one by one or many at once."""

from typing import Any, ClassVar, Final, TypeVar

import msgspec
from litestar import Request, Response, get, post
from litestar.params import FromPath, FromQuery
from msgspec.structs import replace

from contracts import set_aside as told
from contracts.devices import AcceptLine, DismissLine, ProblemWord
from contracts.envelope import Command
from contracts.problems import InvalidBody, Refused, UnknownSubject
from contracts.set_aside import (
    JUDGES,
    LISTERS,
    MOST_JUDGED,
    AcceptLines,
    Chosen,
    DismissLines,
    Judged,
    SetAsideGroups,
    SetAsides,
    Stayed,
)
from contracts.words import DeviceId, Role
from services.core.pages import NO_STORE
from services.core.park import Answer, Park, digest_of
from services.core.reads import fits
from services.core.routes import accounted, alone, decoded, park_of
from services.core.set_aside import Kept, SetAside
from services.devices.judging import Judging

C = TypeVar("C", bound=Chosen)
_ACCEPT: Final = msgspec.json.Decoder(AcceptLines)
_DISMISS: Final = msgspec.json.Decoder(DismissLines)


class JudgeLines(Command, frozen=True, kw_only=True):
    """Many at once; the record names each of them."""

    ROLES: ClassVar[frozenset[Role]] = JUDGES


async def accept(request: Request[Any, Any, Any], park: Park, command: AcceptLine, digest: bytes) -> Answer:
    """Record a line after all."""
    return await _one(Judging(request, park, command, digest, None), command.line)


async def dismiss(request: Request[Any, Any, Any], park: Park, command: DismissLine, digest: bytes) -> Answer:
    """Leave a line unrecorded."""
    return await _one(Judging(request, park, command, digest, command.cause), command.line)


async def _one(judging: Judging, line: str) -> Answer:
    async with judging.turn:
        before = await judging.before()
        if before is not None:
            return before
        kept = await judging.aside.find(line)
        if kept is None:
            raise UnknownSubject(f"No line {line} was set aside here. Ask for the list.", where=f"line:{line}")
        answer, stayed = await judging.judge([kept])
    if answer is None:
        raise stayed[0][1]
    return answer


@post("/parks/{park:str}/devices/accept-lines", opt={"roles": JUDGES}, status_code=200)
async def accept_lines(request: Request[Any, Any, Any], park: FromPath[str]) -> Judged:
    """Record many lines after all, in their order."""
    return await _many(request, park_of(request, park), _ACCEPT, "devices/accept-lines")


@post("/parks/{park:str}/devices/dismiss-lines", opt={"roles": JUDGES}, status_code=200)
async def dismiss_lines(request: Request[Any, Any, Any], park: FromPath[str]) -> Judged:
    """Leave many lines unrecorded."""
    return await _many(request, park_of(request, park), _DISMISS, "devices/dismiss-lines")


async def _many(request: Request[Any, Any, Any], park: Park, decoder: msgspec.json.Decoder[C], path: str) -> Judged:
    try:
        body = await request.body()
        chosen = decoded(request, decoder, body)
        _must_fit(chosen)
        cause = chosen.cause if isinstance(chosen, DismissLines) else None
        judging = Judging(request, park, JudgeLines(), digest_of(path, body), cause)
        with alone(park, judging.asked.id):
            async with judging.turn:
                return await _judged(judging, chosen, park.park)
    except Refused as refused:
        await accounted(request, refused)
        raise


async def _judged(judging: Judging, chosen: Chosen, park: str) -> Judged:
    """The longest waiting of those that were chosen. What the same request judged before is told from the record."""
    aside = judging.aside
    if chosen.after is not None and await aside.find(chosen.after) is None:
        raise UnknownSubject(f"No line {chosen.after} was set aside here. Begin without it.", where="$.after")
    answer = await judging.before()
    stayed: list[tuple[Kept, Refused]] = []
    last = answer.receipt.events[-1].data.line if answer else chosen.after
    if answer is None:
        lines, _ = await aside.chosen(chosen, MOST_JUDGED)
        if lines:
            answer, stayed = await judging.judge(lines)
            last = lines[-1].id
    _, remaining = await aside.chosen(replace(chosen, after=last), 1)
    return Judged(
        park=park,
        judged=len(answer.receipt.events) if answer else 0,
        stayed=tuple(Stayed(line=line.id, why=one.type_uri(), detail=one.detail) for line, one in stayed),
        remaining=remaining,
        after=last if remaining else None,
        receipt=answer.receipt if answer else None,
    )


def _must_fit(chosen: Chosen) -> None:
    """Raises InvalidBody where nobody can have meant it."""
    if chosen.device is None and chosen.problem is None:
        raise InvalidBody("Say whose lines, or why they were set aside: device, problem or both.", where="$")
    first, last = chosen.first_seq, chosen.last_seq
    if first is not None and last is not None and first > last:
        raise InvalidBody(f"first_seq is {first}, behind last_seq, {last}. Exchange them.", where="$.first_seq")
    since, until = chosen.received_from, chosen.received_until
    for name, moment in (("received_from", since), ("received_until", until)):
        if moment is not None and not 1970 <= moment.year < 3000:
            raise InvalidBody(
                f"{name} is {moment}: name a moment from 1970 on, and before the year 3000.", where=f"$.{name}"
            )
    if since is not None and since > until:
        raise InvalidBody("received_from is later than received_until. Exchange them.", where="$.received_from")


@get("/parks/{park:str}/devices/set-aside", opt={"roles": LISTERS})
async def set_aside(
    request: Request[Any, Any, Any],
    park: FromPath[str],
    device: FromQuery[str | None] = None,
    problem: FromQuery[str | None] = None,
    judged: FromQuery[bool] = False,  # noqa: FBT002 - a parameter of the query
) -> Response[SetAsides]:
    """The lines that wait for a person's judgement, the longest waiting first."""
    where = park_of(request, park)
    whose = None if device is None else fits(device, DeviceId, "device")
    why = None if problem is None else fits(problem, ProblemWord, "problem")
    found, more = await SetAside(request.app.state.pool, where.park).list(whose, why, judged=judged)
    lines = tuple(map(_shown, found))
    return Response(SetAsides(park=where.park, lines=lines, more=more), headers=NO_STORE)


@get("/parks/{park:str}/devices/set-aside/groups", opt={"roles": LISTERS})
async def groups(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[SetAsideGroups]:
    """All that waits, by device and reason."""
    where = park_of(request, park)
    as_of = where.clock.now()
    for (name, device), turn in list(request.app.state.turns.items()):
        if name == where.park and device:
            async with turn:  # what has come by now is seen: whoever judges the list judges that with it
                pass
    found = await SetAside(request.app.state.pool, where.park).groups()
    return Response(SetAsideGroups(park=where.park, as_of=as_of, groups=tuple(found)), headers=NO_STORE)


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
