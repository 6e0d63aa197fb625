"""The web application: every route behind a device key unless it says `public`, every failure a problem, every answer with its request id."""

from asyncio import Lock
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any
from uuid import uuid4

import msgspec
import structlog
from litestar import Litestar, Request, Response
from litestar.connection import ASGIConnection
from litestar.datastructures import MutableScopeHeaders, State
from litestar.exceptions import HTTPException
from litestar.handlers.base import BaseRouteHandler
from litestar.plugins.prometheus import PrometheusConfig
from litestar.types import Message, Scope

from contracts import problems
from contracts.answers import Problem
from services.core.auth import Device, Devices, require
from services.core.headers import SINGLE, must_be_single
from services.core.heads import answering_heads
from services.core.identity import identified
from services.core.log import OutcomeUnknown
from services.core.park import Park
from services.core.pool import LOST
from services.core.query import must_be_taken, writes
from services.core.routes import PATHS, PROBLEM_JSON, accounted, command_route, park_of
from services.core.service import Service

MAX_BODY = 1_000_000
"""Bytes."""
_GONE = "client disconnected prematurely"
"""What Litestar calls a caller who hung up: nobody is there to be answered, and nothing of ours broke."""
log = structlog.get_logger()

_BY_STATUS: dict[int, tuple[type[problems.Refused], str]] = {
    400: (problems.InvalidParameter, "A parameter does not fit."),
    401: (problems.NotAuthenticated, "Send the device's key."),
    403: (problems.NotAllowed, "This device may not do that."),
    404: (
        problems.NotFound,
        "There is nothing at this path. Commands are POST /parks/<park>/<service>/<command>; /docs shows them all.",
    ),
    405: (problems.MethodNotAllowed, "Reads take GET and HEAD, commands take POST."),
    413: (problems.BodyTooLarge, f"A body may have {MAX_BODY} bytes. Send less in one request."),
    415: (problems.UnsupportedMediaType, "Send application/json."),
}


def application(
    services: Iterable[Service], parks: Mapping[str, Park], devices: Devices, state: Mapping[str, Any] | None = None
) -> Litestar:
    """The services given, as one application."""
    services = tuple(services)
    handlers = [handler for service in services for handler in service.handlers]
    late = [*handlers, *(handler for service in services for handler in service.told_late)]
    batches = {"facts": {PATHS[one.command]: one for one in late if one.command.FACT}, "turns": defaultdict(Lock)}
    metrics = PrometheusConfig(app_name="fieldledger", prefix="fieldledger", group_path=True)
    app = Litestar(
        route_handlers=[
            *(command_route(handler) for handler in handlers),
            *(route for service in services for route in service.routes),
        ],
        guards=[_authenticate, _check],
        exception_handlers={
            problems.Refused: _refused,
            HTTPException: _http_exception,
            OutcomeUnknown: _unavailable,
            **dict.fromkeys(LOST, _unavailable),
            Exception: _broken,
        },
        before_send=[_name_request, _allow_heads],
        lifespan=[lifespan for service in services for lifespan in service.lifespans],
        middleware=[metrics.middleware],
        request_max_body_size=MAX_BODY,
        openapi_config=None,
        logging_config=None,
        state=State({"parks": dict(parks), "devices": devices, "leaving": [], **batches, **(state or {})}),
    )
    app.asgi_handler = answering_heads(app.asgi_handler)
    return app


async def _authenticate(connection: ASGIConnection[Any, Any, Any, Any], handler: BaseRouteHandler) -> None:
    if handler.opt.get("public") or _only_asks_for_methods(connection):
        return
    park = park_of(connection, connection.path_params.get("park", "")).park
    must_be_single(connection.headers, "Authorization")
    connection.state.device = await identified(connection, park, backlog=handler.opt.get("backlog", False))


async def _check(connection: ASGIConnection[Any, Any, Any, Any], handler: BaseRouteHandler) -> None:
    """Whether it may be asked, and whether it is clear what is asked; raises NotAllowed or InvalidParameter."""
    if _only_asks_for_methods(connection):
        return
    try:
        must_be_single(connection.headers, *SINGLE)
        if not handler.opt.get("public"):
            _may_ask(connection, handler)
        must_be_taken(connection)
    except problems.Refused as refused:
        if writes(connection):
            await accounted(connection, refused)
        raise


def _may_ask(connection: ASGIConnection[Any, Any, Any, Any], handler: BaseRouteHandler) -> None:
    device: Device = connection.state.device
    devices: Devices = connection.app.state.devices
    where = park_of(connection, connection.path_params["park"])
    devices.contacts.heard(where.park, device.id, connection.headers, where.clock.now())
    require(device, handler.opt["roles"])


def _only_asks_for_methods(connection: ASGIConnection[Any, Any, Any, Any]) -> bool:
    return connection.scope.get("method") == "OPTIONS"


async def _name_request(message: Message, scope: Scope) -> None:
    if message["type"] == "http.response.start":
        MutableScopeHeaders.from_message(message)["X-Request-Id"] = request_id(scope)


async def _allow_heads(message: Message, _: Scope) -> None:
    if message["type"] == "http.response.start" and message["status"] in {204, 405}:
        headers = MutableScopeHeaders.from_message(message)
        if "GET" in headers.get("Allow", ""):
            headers["Allow"] += ", HEAD"


def request_id(scope: Scope) -> str:
    """The id of a request, in its answer and in every line that is logged about it."""
    state: dict[str, Any] = scope.setdefault("state", {})
    return str(state.setdefault("request_id", uuid4().hex))


def _problem(request: Request[Any, Any, Any], refused: problems.Refused) -> Response[bytes]:
    body = Problem(
        type=refused.type_uri(),
        title=refused.title,
        status=refused.status,
        detail=refused.detail,
        instance=request.url.path,
        where=str(refused.extensions.get("where", "")),
        first=_first(request),
        resume=str(refused.extensions.get("resume", "")),
    )
    headers = {"WWW-Authenticate": "Bearer"} if refused.status == 401 else {}
    if "allow" in refused.extensions:
        headers["Allow"] = str(refused.extensions["allow"])
    if refused.status == 503:
        headers["Retry-After"] = "2"
    if "retry_after" in refused.extensions:
        headers["Retry-After"] = str(refused.extensions["retry_after"])
    return Response(msgspec.json.encode(body), status_code=refused.status, media_type=PROBLEM_JSON, headers=headers)


def _first(request: Request[Any, Any, Any]) -> str:
    """What comes before any record, of a route that says so: nobody reads on about a wrong key while somebody lies hurt."""
    handler = request.scope.get("route_handler")
    return str(handler.opt.get("first", "")) if handler is not None else ""


def _refused(request: Request[Any, Any, Any], error: problems.Refused) -> Response[bytes]:
    return _problem(request, error)


def _http_exception(request: Request[Any, Any, Any], error: HTTPException) -> Response[bytes]:
    kind, sentence = _BY_STATUS.get(error.status_code, (problems.Broken, "Something broke on our side."))
    if kind is problems.Broken and error.detail != _GONE:
        return _broken(request, error)
    allowed = (error.headers or {}).get("allow")
    extensions = {} if allowed is None else {"allow": allowed}
    return _problem(
        request, kind(f"{sentence} ({error.detail})" if error.status_code == 400 else sentence, **extensions)
    )


def _unavailable(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    log.warning("log unreachable", request=request_id(request.scope), error=repr(error))
    return _problem(
        request,
        problems.Unavailable("The log cannot be reached. Nobody is cleared until it can; send the same again shortly."),
    )


def _broken(request: Request[Any, Any, Any], error: Exception) -> Response[bytes]:
    name = request_id(request.scope)
    log.error("request broke", request=name, path=request.url.path, exc_info=error)
    return _problem(
        request,
        problems.Broken(
            f"Nothing of this request is known to be recorded; send the same again. If it happens again, report the request id {name}."
        ),
    )
