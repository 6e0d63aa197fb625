"""The OpenAPI 3.1 document: one POST a command, and the reading routes, with every problem that each can answer."""

from collections.abc import Iterable
from http import HTTPStatus
from inspect import cleandoc
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from contracts import problems, refusals
from contracts.answers import Problem, Receipt
from contracts.catalogue import COMMANDS
from contracts.documents import ProblemName, SchemaName, all_described
from contracts.envelope import Command
from contracts.evidence import Position
from contracts.examples import EXAMPLES
from contracts.problems import Refused
from contracts.read import JSON, Read
from contracts.reads import READS
from contracts.reasons import REASONS
from contracts.receipts import receipt
from contracts.samples import sample
from contracts.story import Kind, SubjectId
from contracts.words import ChronoId, DeviceId, FieldId, GameId, Instant, MarkerId, ParkId, PersonId, PlayerId, StaffId

REF = "#/components/schemas/{name}"
FACT: tuple[type[Refused], ...] = (
    problems.MalformedBody,
    problems.InvalidParameter,
    problems.IdempotencyKeyMissing,
    problems.NotAuthenticated,
    problems.KeyRevoked,
    problems.TooManyTries,
    problems.NotAllowed,
    problems.NotFound,
    problems.UnknownSubject,
    problems.AlreadyRecorded,
    problems.NotInThatState,
    problems.BodyTooLarge,
    problems.UnsupportedMediaType,
    problems.InvalidBody,
    problems.IdempotencyKeyReused,
    problems.InFlight,
    problems.RuleForbids,
    problems.Contended,
    problems.Broken,
    problems.Unavailable,
)
"""What a fact can be answered with; a command besides these."""
COMMAND: tuple[type[Refused], ...] = (*FACT, problems.ImpossibleTime, problems.NotCleared)
_UUID = r'^"[0-9A-Fa-f]{8}-[0-9A-Fa-f]{4}-[0-9A-Fa-f]{4}-[0-9A-Fa-f]{4}-[0-9A-Fa-f]{12}"$'
_IN_PATHS: dict[str, Any] = {
    "park": ParkId,
    "person": PersonId,
    "player": PlayerId,
    "marker": MarkerId,
    "chrono": ChronoId,
    "field": FieldId,
    "game": GameId,
    "staff": StaffId,
    "device": DeviceId,
    "kind": Kind,
    "subject": SubjectId,
    "position": Position,
    "problem": ProblemName,
    "schema": SchemaName,
}
_HEADERS: tuple[tuple[str, bool, Any, str], ...] = (
    (
        "Idempotency-Key",
        True,
        Annotated[str, Meta(pattern=_UUID, examples=['"017F22E2-79B0-7CC3-98C4-DC0C0C07398F"'])],
        (
            "A new UUIDv7 in quotes for each write, and the same one whenever that write is sent again: it is then recorded once "
            "and gets its first answer. It becomes the id of the first event. Without the quotes it is understood too."
        ),
    ),
    (
        "Device-Time",
        False,
        Instant,
        "The device's own clock at sending: what it claims is corrected by the difference.",
    ),
    (
        "Device-Version",
        False,
        str,
        "The version of the device's own program, such as 2026.5: shown beside the device. What does not look like one is passed over.",
    ),
    (
        "Device-Seq",
        False,
        Annotated[int, Meta(ge=0, le=2**62)],
        "The device's own dense count of what it recorded, so that a gap shows.",
    ),
    ("Actor", False, StaffId, "The member of staff at the device."),
)


def document() -> dict[str, Any]:
    """The whole document, as JSON would have it."""
    answers = [read.answer for read in READS if read.answer is not None]
    _, schemas = msgspec.json.schema_components(
        [*COMMANDS.values(), Receipt, Problem, *answers, *(read.body for read in READS if read.body is not None)],
        ref_template=REF,
    )
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Fieldledger",
            "version": "1",
            "description": (
                "One record of a paintball park's day that every station writes to and every screen reads from. It decides nothing "
                "that local law, the insurer's rules or the referee on the field decide otherwise; eye protection is never waived. "
                "In an emergency call the emergency services first, then record."
            ),
        },
        "security": [{"device": []}],
        "paths": _paths(),
        "components": {
            "securitySchemes": {
                "device": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "The key of an enrolled device, `<device>.<secret>`. Its roles say what it may do.",
                }
            },
            "headers": {
                "X-Request-Id": {
                    "description": "Names this request in the server's own records; give it when you report a fault.",
                    "schema": {"type": "string"},
                }
            },
            "parameters": {name: _parameter("header", name, *rest) for name, *rest in _HEADERS},
            "responses": {
                f"{kind}-{status}": response
                for kind, kinds in (("command", COMMAND), ("fact", FACT))
                for status, response in refusals.responses(kinds).items()
            },
            "examples": refusals.examples(),
            "schemas": schemas,
        },
        "x-problems": msgspec.to_builtins(all_described().problems),
        "x-reasons": [{"code": code, **entry._asdict()} for code, entry in sorted(REASONS.items())],
    }


def _paths() -> dict[str, Any]:
    """Every route by its path and method."""
    found: dict[str, Any] = {f"/parks/{{park}}/{path}": {"post": _write(path, one)} for path, one in COMMANDS.items()}
    for read in READS:
        found.setdefault(read.path, {})[read.method] = _read(read)
    return found


def _write(path: str, command: type[Command]) -> dict[str, Any]:
    kind, kinds = ("fact", FACT) if command.FACT else ("command", COMMAND)
    body = EXAMPLES.get(command, {})
    return {
        "operationId": path.replace("/", "."),
        "tags": [path.partition("/")[0]],
        **_words(command),
        "x-roles": sorted(command.ROLES),
        "x-fact": command.FACT,
        "parameters": [
            *_path_parameters("/{park}"),
            *({"$ref": f"#/components/parameters/{name}"} for name, *_ in _HEADERS),
        ],
        "requestBody": {"required": True, "content": {JSON: {"schema": _schema(command), "example": body}}},
        "responses": {
            "201": _answer(
                "Recorded, durably; or recorded before, and this is the first answer.",
                _schema(Receipt),
                example=receipt(path, command, body),
            ),
            **{
                str(status): {"$ref": f"#/components/responses/{kind}-{status}"}
                for status in sorted({refusal.status for refusal in kinds})
            },
        },
    }


def _words(command: type[Command]) -> dict[str, str]:
    summary, _, more = cleandoc(command.__doc__ or "").partition("\n\n")
    description = "\n\n".join(filter(None, (command.FIRST, more)))
    return {"summary": summary} | ({"description": description} if description else {})


def _read(read: Read) -> dict[str, Any]:
    schema = _told(read) if read.answer is None else _schema(read.answer)
    shown = sample(read.answer) if read.answer is not None and read.example is None else read.example
    rights = {"security": []} if read.roles is None else {"x-roles": sorted(read.roles)}
    asked = {} if read.body is None else {"requestBody": _body(read)}
    return {
        "operationId": _operation(read),
        "summary": read.summary,
        **rights,
        **asked,
        "parameters": [
            *_path_parameters(read.path),
            *({"$ref": f"#/components/parameters/{name}"} for name, *_ in _HEADERS if read.keyed),
            *(_parameter("query", one.name, one.required, one.kind, one.description) for one in read.parameters),
        ],
        "responses": {
            **{
                str(status): _answer(HTTPStatus(status).phrase, schema, read.media, shown)
                for status in (read.status, *read.also)
            },
            **refusals.responses(refusal for refusal in read.refusals if refusal.status not in read.also),
        },
    }


def _operation(read: Read) -> str:
    parts = [part.strip("{}") for part in read.path.removeprefix("/parks/{park}").split("/") if part] or ["home"]
    return ".".join([*parts, "make"] if read.method == "post" and read.body is None else parts)


def _told(read: Read) -> dict[str, Any]:
    """Of an answer that is no type of ours: any JSON, or text."""
    return {} if read.media == JSON else {"type": "string"}


def _body(read: Read) -> dict[str, Any]:
    shown = sample(read.body) if read.sent is None else read.sent
    return {"required": True, "content": {read.takes: {"schema": _schema(read.body), "example": shown}}}


def _path_parameters(path: str) -> Iterable[dict[str, Any]]:
    names = [part[1:-1] for part in path.split("/") if part.startswith("{")]
    return ({"name": name, "in": "path", "required": True, "schema": _schema(_IN_PATHS[name])} for name in names)


def _parameter(place: str, name: str, required: bool, kind: Any, description: str) -> dict[str, Any]:  # noqa: FBT001 - a row of _HEADERS
    return {"name": name, "in": place, "required": required, "description": description, "schema": _schema(kind)}


def _answer(description: str, schema: dict[str, Any], media: str = JSON, example: Any = None) -> dict[str, Any]:
    return {
        "description": description,
        "headers": {"X-Request-Id": {"$ref": "#/components/headers/X-Request-Id"}},
        "content": {media: {"schema": schema} | ({} if example is None else {"example": example})},
    }


def _schema(kind: Any) -> dict[str, Any]:
    (schema,), _ = msgspec.json.schema_components([kind], ref_template=REF)
    return schema
