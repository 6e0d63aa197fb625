"""One route a command: parse, decide, record, answer."""

from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final, TypeVar
from uuid import UUID

import msgspec
from litestar import Request, Response, post
from litestar.connection import ASGIConnection
from litestar.datastructures import Headers
from litestar.exceptions.http_exceptions import RequestEntityTooLarge
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath
from msgspec.structs import replace

from contracts.answers import Problem
from contracts.batch import Seq
from contracts.catalogue import COMMANDS
from contracts.envelope import UNREADABLE, Command, Reason, Refusal
from contracts.problems import (
    IdempotencyKeyMissing,
    InFlight,
    InvalidBody,
    InvalidParameter,
    MalformedBody,
    NotCleared,
    NotFound,
    Refused,
    UnsupportedMediaType,
)
from contracts.words import Instant, StaffId
from services.core.auth import Device
from services.core.command import Handler
from services.core.headers import several, single
from services.core.park import Answer, Asked, Caller, Park, digest_of
from services.core.plainly import plainly
from services.core.set_aside import SetAside
from services.core.times import Contact

PATHS: Final = {command: path for path, command in COMMANDS.items()}
PROBLEM_JSON: Final = "application/problem+json"
JSON: Final = "application/json"
_ENCODER = msgspec.json.Encoder()
C = TypeVar("C", bound=Command)
T = TypeVar("T")
Run = Callable[[Request[Any, Any, Any], Park, C, bytes], Awaitable[Answer]]


def park_of(connection: ASGIConnection[Any, Any, Any, Any], name: str) -> Park:
    """The park of a path; raises NotFound."""
    parks: dict[str, Park] = connection.app.state.parks
    if name not in parks:
        raise NotFound("This server keeps no park of that name. Check the path: /parks/<park>/…")
    return parks[name]


def command_route(handler: Handler[Any]) -> HTTPRouteHandler:
    """The route of one command that needs nothing but the log."""

    async def run(request: Request[Any, Any, Any], park: Park, command: Command, digest: bytes) -> Answer:
        return await park.execute(handler, command, asked(request, park, digest))

    return write_route(handler.command, run)


def write_route(command: type[C], run: Run[C], *, secret: bool = False) -> HTTPRouteHandler:
    """POST /parks/{park}/<service>/<command>: the body is parsed, `run` decides and records, its answer is sent.

    `run` is handed the digest that makes two requests the same. Of a `secret` body no problem repeats a word.
    """
    path = PATHS[command]
    decoder = msgspec.json.Decoder(command)

    @post(
        f"/parks/{{park:str}}/{path}",
        opt={"roles": command.ROLES, "first": command.FIRST},
        name=path,
        summary=command.__doc__,
    )
    async def route(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[bytes]:
        where = park_of(request, park)
        try:
            body = await request.body()
            parsed = decoded(request, decoder, body, secret=secret)
            with alone(where, _key(request.headers)):
                answer = await run(request, where, parsed, digest_of(path, body))
        except (Refused, RequestEntityTooLarge) as refused:
            await accounted(request, refused)
            raise
        return respond(first_said(answer, command), request)

    return route


@contextmanager
def alone(park: Park, key: UUID) -> Iterator[None]:
    """Raises InFlight while another request of this process bears the key."""
    if key in park.at_work:
        raise InFlight(
            "The first request with this Idempotency-Key is still at work. Send the same again in a second.",
            retry_after=1,
        )
    park.at_work.add(key)
    try:
        yield
    finally:
        park.at_work.discard(key)


async def accounted(connection: ASGIConnection[Any, Any, Any, Any], refused: Exception) -> None:
    """A refused write with a Device-Seq leaves its number, and nothing else: a device's count shows no hole where nothing was lost."""
    number = _number(single(connection.headers, "Device-Seq"))
    device, pool = getattr(connection.state, "device", None), connection.app.state.get("pool")
    final = not (isinstance(refused, Refused) and (refused.passing or refused.status >= 500))
    if final and number is not None and device is not None and pool is not None:
        await SetAside(pool, connection.path_params["park"]).note(device.id, [number])


def _number(value: str | None) -> int | None:
    try:
        return None if value is None else msgspec.convert(value, Seq, strict=False)
    except msgspec.ValidationError:
        return None


def first_said(answer: Answer, command: type[Command]) -> Answer:
    """The answer, with what each answer to this command says first."""
    return replace(answer, receipt=replace(answer.receipt, first=command.FIRST)) if command.FIRST else answer


def decoded(
    request: Request[Any, Any, Any], decoder: msgspec.json.Decoder[T], body: bytes, *, secret: bool = False
) -> T:
    """The body of a write; raises what is wrong with it."""
    must_be(JSON, request.headers)
    try:
        return decoder.decode(body)
    except msgspec.ValidationError as error:
        what, where = plainly(error, decoder.type)
        what = f"Something does not fit at {where}" if secret else what
        raise InvalidBody(f"{what}. Nothing was recorded; correct the body and send it again.", where=where) from None
    except UNREADABLE as error:
        why = error if body else "The body is empty"
        raise MalformedBody(f"{why}. Nothing was recorded; send JSON in UTF-8.") from None


def must_be(media: str, headers: Headers, *, named: bool = False, how: str = "") -> None:
    """Raises UnsupportedMediaType where a body says that it is no `media`, or is compressed: nothing here unpacks one, and its bytes would be taken for lines.

    One that says nothing of its type is taken for it, unless it has to be `named`.
    """
    given = headers.get("content-type", "" if named else media).partition(";")[0].strip().lower()
    if given != media:
        raise UnsupportedMediaType(f"Content-Type is {given or 'missing'}; send {media}{how}.")
    packed = ", ".join(headers.getall("content-encoding", [])).strip().lower()
    if packed not in {"", "identity"}:
        raise UnsupportedMediaType(f"Content-Encoding is {packed}; send the body as it is, not compressed.")


def asked(request: Request[Any, Any, Any], park: Park, digest: bytes) -> Asked:
    """A write by its headers; raises IdempotencyKeyMissing or InvalidParameter."""
    headers = request.headers
    return Asked(
        id=_key(headers),
        digest=digest,
        caller=caller(request),
        contact=Contact(
            received_at=park.clock.now(),
            device_time=header(headers.get("device-time"), Instant, "Device-Time"),
            device_seq=header(headers.get("device-seq"), Seq, "Device-Seq", strict=False),
        ),
    )


def caller(request: Request[Any, Any, Any]) -> Caller:
    """Who sends a request; raises InvalidParameter."""
    device: Device = request.state.device
    actor = header(request.headers.get("actor"), StaffId, "Actor")
    return Caller(device=device.id, roles=device.roles, actor=actor)


def _key(headers: Headers) -> UUID:
    """The Idempotency-Key: a UUID as a quoted string (a structured-field string, as in the IETF draft)."""
    if many := several(headers, "Idempotency-Key"):
        raise IdempotencyKeyMissing(many)
    try:
        return UUID(headers.get("idempotency-key", "").strip().strip('"'))
    except ValueError:
        raise IdempotencyKeyMissing(
            'Send the header Idempotency-Key: "<a new UUIDv7>" with every write, and the same one whenever you send that write again.'
        ) from None


def header(value: str | None, kind: Any, name: str, *, strict: bool = True) -> Any:
    """What a header says; `strict=False` reads a number from its digits, and would read a time from them too."""
    if value is None:
        return None
    try:
        return msgspec.convert(value, kind, strict=strict)
    except msgspec.ValidationError as error:
        raise InvalidParameter(f"The header {name} does not fit: {plainly(error, kind)[0]}.", where=name) from None


def respond(answer: Answer, request: Request[Any, Any, Any]) -> Response[bytes]:
    """201 with the receipt, or 409 for a refusal that is on the record."""
    if answer.refusal is None:
        return Response(_ENCODER.encode(answer.receipt), status_code=201, media_type="application/json")
    problem = Problem(
        type=NotCleared.type_uri(),
        title=NotCleared.title,
        status=NotCleared.status,
        detail=_sentence(answer.refusal),
        instance=request.url.path,
        refusal=answer.refusal,
        receipt=answer.receipt,
    )
    return Response(_ENCODER.encode(problem), status_code=problem.status, media_type=PROBLEM_JSON)


def _sentence(refusal: Refusal) -> str:
    """What is in the way, in one breath: the refusal's own reasons, then how many of its players are not cleared."""
    reasons: tuple[Reason, ...] = refusal.reasons
    sentences = [f"{reason.sentence} ({reason.where})" for reason in reasons]
    offenders = getattr(refusal, "offenders", ())
    if offenders:
        names = ", ".join(offender.player for offender in offenders)
        sentences.append(f"Not cleared: {names}. Nobody was admitted; clear them, or start without them.")
    return " ".join(sentences)
