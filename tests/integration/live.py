"""The whole application in this process, behind a loopback port, on a fresh database and a real bus, with a device key for each role."""

from collections.abc import Iterator, Mapping
from contextlib import AsyncExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, get_args
from uuid import uuid4

import httpx
from anyio.from_thread import BlockingPortal, start_blocking_portal

from contracts.words import Role
from deploy.app import Running, listening, listening_socket, running
from deploy.embedded import BusUrls
from deploy.services import PROJECTIONS, SERVICES
from services.core.clock import Clock, SystemClock
from tests.databases import Database

ROLES: tuple[Role, ...] = get_args(Role)
SELDOM = 3600.0
"""Seconds between checkpoints: a new key, or the interval, puts no event between two that a test counts."""
_numbers = count(1)


@dataclass(frozen=True)
class Live:
    """A park that is up. Tests call it from their own thread; it runs in another."""

    park: str
    url: str
    keys: Mapping[str, str]
    """A device's key by its role; `everything` holds them all."""
    running: Running
    portal: BlockingPortal
    http: httpx.Client

    def headers(self, role: str = "everything", **more: str) -> dict[str, str]:
        """The headers of a write under a new Idempotency-Key; `idempotency_key="…"` and the like add to them or replace them."""
        made = {"Authorization": f"Bearer {self.keys[role]}", "Idempotency-Key": f'"{uuid4()}"'}
        return made | {name.replace("_", "-").title(): value for name, value in more.items()}

    def post(self, command: str, body: Any, role: str = "everything", **more: str) -> httpx.Response:
        """Send a command, such as `velocity/check-chrono`, with a JSON body."""
        return self.http.post(f"/parks/{self.park}/{command}", json=body, headers=self.headers(role, **more))

    def send(self, command: str, body: bytes, headers: Mapping[str, str]) -> httpx.Response:
        """Send these very bytes, as JSON unless the headers say otherwise."""
        kind = {"Content-Type": "application/json"}
        return self.http.post(f"/parks/{self.park}/{command}", content=body, headers=kind | dict(headers))

    def get(self, path: str, role: str = "everything") -> httpx.Response:
        return self.http.get(path, headers={"Authorization": f"Bearer {self.keys[role]}"})

    def head(self) -> int:
        """The position at which the log ends."""
        return self.portal.call(self._log.head).position

    def leaf(self, position: int) -> bytes:
        """The bytes that the log holds at a position."""
        (row,) = self.portal.call(self._log.between, position, position)
        return row.leaf

    def enrol(self, device: str, *roles: Role) -> str:
        """Enrol one more device; returns its key."""
        return self.portal.call(self.running.devices.enrol, self.park, device, frozenset(roles), "test bench")

    @property
    def _log(self) -> Any:
        return self.running.parks[self.park].log


@contextmanager
def serving(database: Database, bus: BusUrls, clock: Clock | None = None) -> Iterator[Live]:
    """A live park for the block."""
    park = f"larchmoor-{next(_numbers)}"
    made = listening_socket("127.0.0.1", 0)
    url = f"http://127.0.0.1:{made.getsockname()[1]}"
    with (
        TemporaryDirectory(prefix="fieldledger-outside-") as outside,
        start_blocking_portal(backend_options={"use_uvloop": True}) as portal,
        portal.wrap_async_context_manager(_Up(_whole(database, bus, park, clock, outside), made)) as up,
    ):
        keys = {
            role: portal.call(up.devices.enrol, park, f"device-{role}", frozenset({role}), "test") for role in ROLES
        }
        keys["everything"] = portal.call(up.devices.enrol, park, "device-everything", frozenset(ROLES), "test")
        with httpx.Client(base_url=url, timeout=20) as client:
            yield Live(park, url, keys, up, portal, client)


def _whole(database: Database, bus: BusUrls, park: str, clock: Clock | None, outside: str) -> Any:
    where = database.url, bus, [park], SERVICES, PROJECTIONS, clock or SystemClock(), Path(outside)
    return partial(running, *where, checkpoint_every=SELDOM)


class _Up:
    """The application and its socket as one context, for the thread that serves."""

    def __init__(self, whole: Any, made: Any) -> None:
        self._whole, self._made = whole, made
        self._stack = AsyncExitStack()

    async def __aenter__(self) -> Running:
        up = await self._stack.enter_async_context(self._whole())
        await self._stack.enter_async_context(listening(up.app, self._made))
        return up

    async def __aexit__(self, *how: object) -> None:
        await self._stack.__aexit__(*how)
