"""A park's server in a process of its own, as `deploy/run` has it, with one more route for each command measured: it parses the body and does nothing.

`python -m tests.bench.server DATABASE_URL RELAY_URL SERVICE_URL OUTSIDE` prints a device's key and serves until its standard input ends.
"""

import asyncio
import sys
from contextlib import closing
from pathlib import Path
from typing import Any, get_args

import msgspec
import structlog
import uvloop
from litestar import Request, Response, post
from litestar.handlers import HTTPRouteHandler
from litestar.params import FromPath

from contracts.envelope import Command
from contracts.registration import RegisterPerson
from contracts.velocity import TestMarker
from contracts.words import Role
from deploy.app import listening, listening_socket, running
from deploy.embedded import BusUrls
from deploy.services import PROJECTIONS, SERVICES
from services.core.clock import SystemClock
from services.core.garbage import look_seldom
from services.core.routes import PATHS
from services.core.service import Service
from tests.bench.ground import PARK

EMPTY = "empty"


def empty_route(command: type[Command]) -> HTTPRouteHandler:
    """Parses the same body behind the same key, and answers nothing."""
    decoder = msgspec.json.Decoder(command)

    @post(
        f"/parks/{{park:str}}/{EMPTY}/{PATHS[command]}", opt={"roles": command.ROLES}, name=f"{EMPTY}/{PATHS[command]}"
    )
    async def run(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[bytes]:  # noqa: ARG001
        decoder.decode(await request.body())
        return Response(b"{}", status_code=201, media_type="application/json")

    return run


async def serve(database_url: str, bus: BusUrls, port: int, outside: Path) -> None:
    structlog.configure(logger_factory=structlog.PrintLoggerFactory(sys.stderr))
    look_seldom()
    crowd = 1000  # `readers` opens some hundred streams under one key
    bench = Service("bench", (), (empty_route(RegisterPerson), empty_route(TestMarker)))
    with closing(listening_socket("127.0.0.1", port)) as made:
        async with (
            running(
                database_url,
                bus,
                [PARK],
                [*SERVICES, bench],
                PROJECTIONS,
                SystemClock(),
                outside,
                streams_per_key=crowd,
            ) as up,
            listening(up.app, made),
        ):
            key = await up.devices.enrol(PARK, "bench", frozenset(get_args(Role)), "bench")
            sys.stdout.write(f"{made.getsockname()[1]} {key}\n")
            sys.stdout.flush()
            await asyncio.to_thread(sys.stdin.read)


if __name__ == "__main__":
    _, database, relay, service, folder = sys.argv
    uvloop.run(serve(database, BusUrls(relay, service), 0, Path(folder)))
