"""A device is revoked: the key dies first, then the event says so. Whatever breaks in between, the key stays dead, and the same request finishes it."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from typing import Any

from litestar import Litestar, Request

from contracts.devices import RevokeDevice
from contracts.problems import Unavailable
from services.core.auth import Devices
from services.core.command import Handler
from services.core.park import Answer, Asked, Park
from services.core.routes import asked
from services.devices import model
from services.devices.outside import Revocations, revoke_again
from services.devices.states import DEVICE


async def revoke(request: Request[Any, Any, Any], park: Park, command: RevokeDevice, digest: bytes) -> Answer:
    """Revoke a device. The same request again touches no key that was made since."""
    wanted = asked(request, park, digest)
    devices: Devices = request.app.state.devices
    answer = await park.first_answer(wanted)
    if answer is None:
        key = await devices.key_hash(park.park, command.device)
        decide = partial(model.revoke_device, enrolled=key is not None)
        handler = Handler(RevokeDevice, lambda c, _: {(DEVICE, c.device)}, decide)
        if await _certain(park, handler, command, wanted):
            await devices.revoke(park.park, command.device)
            if key:
                await asyncio.to_thread(Revocations(request.app.state.outside, park.park).record, command.device, key)
        answer = await park.execute(handler, command, wanted)
    await devices.revoked_at(park.park, command.device, answer.receipt.position)
    return answer


async def _certain(park: Park, handler: Handler[RevokeDevice], command: RevokeDevice, wanted: Asked) -> bool:
    """Whether it will not be refused. Where the log cannot be asked, the key dies all the same."""
    try:
        return (await park.prepare(handler, command, wanted)).refused is None
    except Unavailable:
        return True


@asynccontextmanager
async def revocations(app: Litestar) -> AsyncIterator[None]:
    """Before anybody is answered, what was revoked is revoked: in an older backup it may not be."""
    for name in app.state.parks:
        await revoke_again(app.state.devices, Revocations(app.state.outside, name))
    yield
