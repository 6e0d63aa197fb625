"""The service alone in a process, for tests that kill it: `python -m tests.faults.child DATABASE RELAY_BUS SERVICE_BUS PARK PORT OUTSIDE`."""

import asyncio
import sys
from pathlib import Path

import uvloop

from deploy.app import listening, listening_socket, running
from deploy.embedded import BusUrls
from deploy.services import PROJECTIONS, SERVICES
from services.core import logs
from services.core.clock import SystemClock


async def main(database, relay, service, park, port, outside):  # noqa: PLR0917 - what the test hands over
    made = listening_socket("127.0.0.1", int(port))
    bus = BusUrls(relay=relay, service=service)
    where = (database, bus, [park], SERVICES, PROJECTIONS, SystemClock(), Path(outside))
    async with running(*where) as up, listening(up.app, made):
        await asyncio.Event().wait()


if __name__ == "__main__":
    logs.configure()
    uvloop.run(main(*sys.argv[1:]))
