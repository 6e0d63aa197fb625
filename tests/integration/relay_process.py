"""A relay alone in a process, for tests that kill it: `python -m tests.integration.relay_process DATABASE BUS PARK`."""

import asyncio
import sys

import asyncpg

from services.core.bus import Bus
from services.core.clock import SystemClock
from services.core.log import Log
from services.core.pool import Pool
from services.core.relay import Relay


async def main(database, bus, park):
    await Relay(Log(Pool(database), park, SystemClock()), Bus(bus), lambda: asyncpg.connect(database)).run()


if __name__ == "__main__":
    asyncio.run(main(*sys.argv[1:]))
