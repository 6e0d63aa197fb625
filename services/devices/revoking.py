"""A device is revoked: the key dies first, then the event says so. Whatever breaks in between, the key stays dead, and the same request finishes it."""

from functools import partial
from typing import Any

from litestar import Request

from contracts.devices import RevokeDevice
from contracts.problems import Unavailable
from services.core.auth import Devices
from services.core.command import Handler
from services.core.park import Answer, Park
from services.core.routes import asked
from services.devices import model
from services.devices.states import DEVICE


async def revoke(request: Request[Any, Any, Any], park: Park, command: RevokeDevice, digest: bytes) -> Answer:
    """Revoke a device. The same request again touches no key that was made since."""
    wanted = asked(request, park, digest)
    devices: Devices = request.app.state.devices
    answer = await park.first_answer(wanted)
    if answer is None:
        known = await devices.has_key(park.park, command.device)
        handler = Handler(RevokeDevice, lambda c, _: {(DEVICE, c.device)}, partial(model.revoke_device, enrolled=known))
        await _key_first(devices, park, handler, command, wanted)
        answer = await park.execute(handler, command, wanted)
    await devices.revoked_at(park.park, command.device, answer.receipt.position)
    return answer


async def _key_first(
    devices: Devices, park: Park, handler: Handler[RevokeDevice], command: RevokeDevice, wanted: Any
) -> None:
    """Unless it will be refused. Where the log cannot be asked, the key dies all the same."""
    try:
        ready = await park.prepare(handler, command, wanted)
    except Unavailable:
        await devices.revoke(park.park, command.device)
        raise
    if ready.refused is None:
        await devices.revoke(park.park, command.device)
