"""What is remembered of a device: the invitation that may still be taken, what its key is for, and whether it was revoked."""

from datetime import datetime
from typing import Any
from uuid import UUID

from msgspec import Struct
from msgspec.structs import replace

from contracts.devices import DeviceEnrolled, DeviceInvited, DeviceRevoked
from contracts.envelope import Recorded, Unknown
from contracts.words import Role
from services.core.fold import Fold


class Invitation(Struct, frozen=True):
    """The newest one of a device, named by the id of its event."""

    id: UUID
    roles: tuple[Role, ...]
    station: str | None
    expires_at: datetime
    taken: bool = False
    withdrawn: bool = False


class Device(Struct, frozen=True):
    device: str
    invitation: Invitation | None = None
    enrolled: bool = False
    revoked: bool = False
    unreadable: bool = False
    """Something was recorded about it that this software cannot read: it is not enrolled until it can."""


def _invited(device: Device, event: Recorded[DeviceInvited]) -> Device:
    data = event.data
    return replace(device, invitation=Invitation(event.id, data.roles, data.station, data.expires_at))


def _enrolled(device: Device, _: Recorded[DeviceEnrolled]) -> Device:
    taken = device.invitation and replace(device.invitation, taken=True)
    return replace(device, enrolled=True, revoked=False, invitation=taken)


def _revoked(device: Device, _: Recorded[DeviceRevoked]) -> Device:
    withdrawn = device.invitation and replace(device.invitation, withdrawn=True)
    return replace(device, revoked=True, invitation=withdrawn)


def _unreadable(device: Device, _: Recorded[Any]) -> Device:
    return replace(device, unreadable=True)


DEVICE: Fold[Device] = Fold(
    "devices.device",
    "device",
    Device,
    {DeviceInvited: _invited, DeviceEnrolled: _enrolled, DeviceRevoked: _revoked, Unknown: _unreadable},
)
"""In the order of the log: which invitation is the newest, and what came after it, is a matter of when it was recorded."""
