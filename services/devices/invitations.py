"""A manager invites a device; the device takes the invitation. The event comes first: no code and no key works that no event tells of."""

import asyncio
from typing import Any, Final

import msgspec
from litestar import Request, post
from litestar.params import FromPath
from msgspec.structs import replace

from contracts.devices import Enrol, Enrolment, InviteDevice
from contracts.envelope import UNREADABLE
from contracts.problems import CodeNotKnown, CodeUsed, InvalidBody, MalformedBody
from services.core.auth import Device, Devices
from services.core.command import Handler
from services.core.identity import address_of
from services.core.park import Answer, Park, digest_of
from services.core.plainly import plainly
from services.core.pool import Pool
from services.core.routes import JSON, asked, must_be, park_of
from services.devices import model
from services.devices.codes import LENGTH, code_hash, new_code, plain
from services.devices.model import TakeInvitation
from services.devices.outside import Revocations
from services.devices.states import DEVICE

INVITE: Final = Handler(InviteDevice, lambda c, _: {(DEVICE, c.device)}, model.invite_device)
TAKE: Final = Handler(TakeInvitation, lambda c, _: {(DEVICE, c.device)}, model.take_invitation)
_KEEP: Final = "INSERT INTO log.invitation VALUES ($1, $2, $3, $4, $5)"
_TIDY: Final = "DELETE FROM log.invitation WHERE park = $1 AND made_at < $2::timestamptz - interval '7 days'"
_FIND: Final = "SELECT device, invitation FROM log.invitation WHERE park = $1 AND code_hash = $2"
_BODY: Final = msgspec.json.Decoder(Enrol)


async def invite(request: Request[Any, Any, Any], park: Park, command: InviteDevice, digest: bytes) -> Answer:
    """Record the invitation, then keep the hash of its code; the code is in this answer and nowhere else."""
    wanted = asked(request, park, digest)
    answer = await park.execute(INVITE, command, wanted)
    if answer.receipt.repeat:
        return answer
    code, pool = new_code(), _pool(request)
    async with pool.connection() as connection:
        await connection.execute(_TIDY, park.park, park.clock.now())
        await connection.execute(
            _KEEP, park.park, code_hash(park.park, code), command.device, wanted.id, park.clock.now()
        )
    return replace(answer, receipt=replace(answer.receipt, secret=code))


@post("/parks/{park:str}/devices/enrol", opt={"public": True}, status_code=201)
async def enrol(request: Request[Any, Any, Any], park: FromPath[str]) -> Enrolment:
    """A device takes its invitation: the code it was given, for a key of its own that is shown this once."""
    where, devices = park_of(request, park), _devices(request)
    address = address_of(request)
    devices.tries.must_not_wait(("code", address))
    body = await request.body()
    wanted = _decoded(request, body)
    found = await _found(request, where.park, wanted.code)
    if found is None:
        await devices.tries.wrong(("code", address))
        raise CodeNotKnown(
            "That code enrols no device of this park: it is mistyped, or of another park. Type it again, or ask a manager for a new one."
        )
    device, invitation = found
    request.state.device = Device(device, frozenset())
    command = TakeInvitation(device=device, invitation=invitation, version=wanted.version)
    digest = digest_of("devices/enrol", code_hash(where.park, wanted.code) + body.replace(wanted.code.encode(), b""))
    receipt = (await where.execute(TAKE, command, asked(request, where, digest))).receipt
    if receipt.repeat:
        raise CodeUsed(
            f"{device} is enrolled, and its key was shown once. If that answer was lost, ask a manager to invite it anew."
        )
    enrolled = receipt.events[0].data
    before = await devices.key_hash(where.park, device)
    key = await devices.enrol(where.park, device, frozenset(enrolled.roles), enrolled.station, receipt.position)
    if before:  # an older backup would bring it back to life
        await asyncio.to_thread(Revocations(request.app.state.outside, where.park).record, device, before)
    said = {"device-version": wanted.version} if wanted.version else {}
    devices.contacts.heard(where.park, device, dict(request.headers) | said, where.clock.now())
    return Enrolment(
        park=where.park,
        device=device,
        key=key,
        roles=enrolled.roles,
        station=enrolled.station,
        epoch=receipt.epoch,
        position=receipt.position,
    )


async def _found(request: Request[Any, Any, Any], park: str, code: str) -> Any:
    if len(plain(code)) != LENGTH:
        return None
    async with _pool(request).connection() as connection:
        return await connection.fetchrow(_FIND, park, code_hash(park, code))


def _decoded(request: Request[Any, Any, Any], body: bytes) -> Enrol:
    """The body; no problem repeats a word of it."""
    must_be(JSON, request.headers)
    try:
        return _BODY.decode(body)
    except msgspec.ValidationError as error:
        where = plainly(error, Enrol)[1]
        form = " A code has ten letters and digits, such as K7QF3-M2W9T." if where == "$.code" else ""
        raise InvalidBody(
            f'The body does not fit.{form} Send {{"code": "…", "version": "…"}}; the version may be left out.',
            where=where,
        ) from None
    except UNREADABLE:
        raise MalformedBody('The body is not JSON in UTF-8. Nothing was recorded; send {"code": "…"}.') from None


def _devices(request: Request[Any, Any, Any]) -> Devices:
    devices: Devices = request.app.state.devices
    return devices


def _pool(request: Request[Any, Any, Any]) -> Pool:
    pool: Pool = request.app.state.pool
    return pool
