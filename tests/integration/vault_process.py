"""A park in a process of its own that dies, by kill -9, at the first call of one function: where a test wants it to.

`python -m tests.integration.vault_process DATABASE OUTSIDE PARK [MODULE:CLASS.METHOD]` prints its port and a device's key.
"""

import asyncio
import importlib
import os
import signal
import sys
from pathlib import Path
from typing import get_args
from uuid import uuid4

from contracts.words import Role
from deploy.app import listening, listening_socket, running
from deploy.services import PROJECTIONS, SERVICES
from services.core import logs
from services.core.clock import SystemClock


def die_at(where):
    module, _, path = where.partition(":")
    kind, _, method = path.partition(".")

    def die(*_):
        os.kill(os.getpid(), signal.SIGKILL)

    setattr(getattr(importlib.import_module(module), kind), method, die)


async def main(database, outside, park, where=""):
    made = listening_socket("127.0.0.1", 0)
    served = running(database, None, [park], SERVICES, PROJECTIONS, SystemClock(), Path(outside))
    async with served as up, listening(up.app, made):
        key = await up.devices.enrol(park, f"device-{uuid4()}", frozenset(get_args(Role)), "test")
        if where:
            die_at(where)
        sys.stdout.write(f"{made.getsockname()[1]} {key}\n")
        sys.stdout.flush()
        await asyncio.Event().wait()


if __name__ == "__main__":
    logs.configure()
    asyncio.run(main(*sys.argv[1:]))
