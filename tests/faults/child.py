"""The whole service as a process of its own, to be killed: python -m tests.faults.child DATABASE RELAY SERVICE PARK PORT."""

import asyncio
import sys

import uvloop

from deploy.app import listening, listening_socket, running
from deploy.embedded import BusUrls
from deploy.services import PROJECTIONS, SERVICES
from services.core import logs
from services.core.clock import SystemClock


async def main(database_url: str, relay: str, service: str, park: str, port: str) -> None:
    bus = BusUrls(relay=relay, service=service)
    made = listening_socket("127.0.0.1", int(port))
    async with running(database_url, bus, [park], SERVICES, PROJECTIONS, SystemClock()) as up, listening(up.app, made):
        await asyncio.Event().wait()


if __name__ == "__main__":
    logs.configure()
    uvloop.run(main(*sys.argv[1:]))
