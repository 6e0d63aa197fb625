"""A park behind one port that can be taken down and brought up again on the same log."""

from contextlib import AsyncExitStack, ExitStack
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import httpx
from anyio.from_thread import BlockingPortal, start_blocking_portal

from deploy.app import Running, listening, listening_socket, running
from deploy.embedded import BusUrls
from deploy.services import PROJECTIONS, SERVICES
from services.core.clock import SystemClock
from tests.integration.live import ROLES, Live


class Server:
    """One process's worth of Fieldledger in a thread of this one."""

    def __init__(self, database_url: str, bus: BusUrls, park: str) -> None:
        self.park = park
        self.port = 0
        self._outside = TemporaryDirectory(prefix="fieldledger-outside-")
        outside = Path(self._outside.name)
        self._whole = partial(running, database_url, bus, [park], SERVICES, PROJECTIONS, SystemClock(), outside)
        self._key = ""
        self._stack = ExitStack()

    def up(self) -> Live:
        """Serve, on the same port as before."""
        made = listening_socket("127.0.0.1", self.port)
        self.port = made.getsockname()[1]
        url = f"http://127.0.0.1:{self.port}"
        portal: BlockingPortal = self._stack.enter_context(start_blocking_portal(backend_options={"use_uvloop": True}))
        process = self._stack.enter_context(portal.wrap_async_context_manager(_Process(self._whole, made)))
        if not self._key:
            self._key = portal.call(process.devices.enrol, self.park, "device-everything", frozenset(ROLES), "test")
        client = self._stack.enter_context(httpx.Client(base_url=url, timeout=20))
        return Live(self.park, url, {"everything": self._key}, process, portal, client)

    def down(self) -> None:
        """Hang up on everybody."""
        self._stack.close()


class _Process:
    def __init__(self, whole: Any, made: Any) -> None:
        self._whole, self._made = whole, made
        self._stack = AsyncExitStack()

    async def __aenter__(self) -> Running:
        up = await self._stack.enter_async_context(self._whole())
        await self._stack.enter_async_context(listening(up.app, self._made))
        return up

    async def __aexit__(self, *how: object) -> None:
        await self._stack.__aexit__(*how)
