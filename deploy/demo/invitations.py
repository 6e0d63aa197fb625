"""The office invites each station of the day by a code that works once, and the station takes it for a key of its own: through the API, as anybody's would."""

import asyncio
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from contracts.client import AsyncPark, enrol
from contracts.devices import InviteDevice
from deploy.demo.clock import RunningClock
from deploy.demo.day import DEVICES

OFFICE = "office"


async def enrolled(address: str, park: str, office: str, clock: RunningClock, seed: int) -> dict[str, str]:
    """The key of every station, the office's own among them."""
    random = Random(f"{seed} invitations")  # noqa: S311 - an invented day, not a secret: the keys are made by the park
    keys = {OFFICE: office}
    with TemporaryDirectory(prefix="fieldledger-devices-") as disk:
        async with AsyncPark(address, park, office, clock=clock, random=random) as manager:
            for name, roles in DEVICES.items():
                if name == OFFICE:
                    continue
                invited = await manager.do(InviteDevice(device=name, roles=tuple(sorted(roles)), station=name))
                taken = await asyncio.to_thread(
                    enrol, address, park, invited.secret, Path(disk) / name, clock=clock, random=random
                )
                keys[name] = taken.key
    return keys
