"""The devices of a park as a manager sees them: what the record says of each, and what it said of itself when it was last heard."""

from datetime import datetime
from typing import Any, Final, Literal

from litestar import Request, Response, get
from litestar.params import FromPath

from contracts import batch as told
from contracts.batch import ANY_DEVICE
from contracts.devices import KnownDevice, KnownDevices
from contracts.problems import NotAllowed, UnknownSubject
from contracts.words import DeviceId
from services.core import sequence
from services.core.auth import Device as Caller
from services.core.fold import Given
from services.core.pages import NO_STORE
from services.core.park import Park
from services.core.pool import Pool
from services.core.reads import fits
from services.core.rights import named
from services.core.routes import park_of
from services.core.sequence import Count
from services.devices.states import DEVICE, Device

LISTERS: Final = frozenset({"manager", "head_referee", "auditor"})
"""They may ask for the count of any device, too."""
_LIST: Final = """
SELECT name.id, known.roles, known.station, known.enrolled_at, known.revoked_at, contact.seen_at, contact.version, contact.ahead_ms, contact.last_seq
FROM (SELECT id FROM log.device WHERE park = $1 UNION SELECT device FROM log.invitation WHERE park = $1) AS name
LEFT JOIN log.device AS known ON known.park = $1 AND known.id = name.id
LEFT JOIN log.device_contact AS contact ON contact.park = $1 AND contact.device = name.id
ORDER BY name.id
"""


@get("/parks/{park:str}/devices", opt={"roles": LISTERS})
async def devices(request: Request[Any, Any, Any], park: FromPath[str]) -> Response[KnownDevices]:
    """Every device that was ever invited or enrolled."""
    where = park_of(request, park)
    pool: Pool = request.app.state.pool
    await request.app.state.devices.contacts.write()
    async with pool.connection() as connection:
        rows = await connection.fetch(_LIST, where.park)
    given = await _given(where, [row[0] for row in rows])
    counted = {row[0]: await sequence.count(pool, where.park, row[0]) for row in rows}
    shown = tuple(_shown(row, given.of(DEVICE, row[0]), counted[row[0]]) for row in rows)
    return Response(KnownDevices(park=where.park, as_of=where.clock.now(), devices=shown), headers=NO_STORE)


async def _given(park: Park, names: list[str]) -> Given:
    given, _ = await park.load(lambda _: {(DEVICE, name) for name in names})
    return given


def _shown(row: Any, recorded: Device, counted: Count) -> KnownDevice:
    name, roles, station, enrolled_at, revoked_at, seen_at, version, ahead_ms, last_seq = row
    invitation = recorded.invitation
    open_until = invitation.expires_at if invitation and not (invitation.taken or invitation.withdrawn) else None
    if not roles and invitation:  # it has no key yet
        roles, station, enrolled_at = invitation.roles, invitation.station, None
    return KnownDevice(
        device=name,
        state=_state(enrolled_at, revoked_at),
        roles=tuple(sorted(roles or ())),
        station=station,
        enrolled_at=enrolled_at,
        revoked_at=revoked_at,
        invited_until=open_until,
        seen_at=seen_at,
        version=version,
        ahead_ms=ahead_ms,
        last_seq=max((last for _, last in (*counted.held, *counted.refused)), default=last_seq),
        holes=counted.holes,
        set_aside=counted.set_aside,
    )


def _state(enrolled_at: datetime | None, revoked_at: datetime | None) -> Literal["invited", "enrolled", "revoked"]:
    if revoked_at is not None:
        return "revoked"
    return "invited" if enrolled_at is None else "enrolled"


@get("/parks/{park:str}/devices/{device:str}/sequence", opt={"roles": ANY_DEVICE})
async def device_sequence(
    request: Request[Any, Any, Any], park: FromPath[str], device: FromPath[str]
) -> Response[told.Sequence]:
    """Which of a device's own numbers are recorded, up to the log's end; the device itself, or who watches over all, may ask."""
    where = park_of(request, park)
    fits(device, DeviceId, "device")
    caller: Caller = request.state.device
    if caller.id != device and not caller.roles & LISTERS:
        raise NotAllowed(f"This is for {device} itself, or for one of {named(LISTERS)}.")
    pool: Pool = request.app.state.pool
    count = await sequence.count(pool, where.park, device)
    if not count.known:
        raise UnknownSubject(f"The record knows no device {device}. Check the spelling.", where=f"device:{device}")
    _, signed = await sequence.signed(pool, where.park)
    return Response(
        told.Sequence(
            park=where.park,
            device=device,
            epoch=count.epoch,
            position=count.position,
            held=count.held,
            refused=count.refused,
            holes=count.holes,
            set_aside=count.set_aside,
            signed=signed,
        ),
        headers=NO_STORE,
    )
