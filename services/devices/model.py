"""Devices: who may speak to the park is decided by people, one device at a time.

A code enrols once, and only the newest code of a device does; after it has expired, or the device was revoked, none does. A key opens
nothing unless the record says that its device was enrolled.
"""

from collections.abc import Iterable
from datetime import timedelta
from typing import ClassVar
from uuid import UUID

from contracts.devices import (
    DeviceEnrolled,
    DeviceInvited,
    DeviceRevoked,
    InviteDevice,
    RevokeDevice,
    Version,
)
from contracts.envelope import Command, Data
from contracts.problems import CodeExpired, CodeReplaced, CodeUsed, NotInThatState
from contracts.words import DeviceId, Role
from services.core.command import Moment, must_know
from services.core.fold import Given
from services.devices.states import DEVICE, Invitation


class TakeInvitation(Command, frozen=True, kw_only=True):
    """A device has shown the code of an invitation. `invitation`: which one the code is of."""

    ROLES: ClassVar[frozenset[Role]] = frozenset()
    device: DeviceId
    invitation: UUID
    version: Version | None = None


def invite_device(command: InviteDevice, _: Given, moment: Moment) -> Iterable[Data]:
    """The newest invitation replaces the one before; a key that the device has goes on until the new one is taken."""
    return [
        DeviceInvited(
            device=command.device,
            roles=tuple(sorted(set(command.roles))),
            station=command.station,
            expires_at=moment.now + timedelta(minutes=command.minutes),
        )
    ]


def take_invitation(command: TakeInvitation, given: Given, moment: Moment) -> Iterable[Data]:
    """The code enrols once, in time, and only while no newer invitation or revocation has come."""
    device = given.of(DEVICE, command.device)
    invitation = device.invitation
    if device.unreadable:
        raise NotInThatState(
            f"Something was recorded about device {command.device} that this software cannot read. "
            "It is not enrolled until it can; have the software brought up to date."
        )
    if invitation is None or invitation.id != command.invitation or invitation.withdrawn:
        raise CodeReplaced(
            "That code was replaced by a newer one, or the device was revoked since. Ask a manager for a new one."
        )
    _must_be_free(invitation, moment)
    return [
        DeviceEnrolled(
            device=command.device, roles=invitation.roles, station=invitation.station, version=command.version
        )
    ]


def _must_be_free(invitation: Invitation, moment: Moment) -> None:
    if invitation.taken:
        raise CodeUsed("That code has been used. If you never saw its key, ask a manager to invite the device anew.")
    if moment.now > invitation.expires_at:
        raise CodeExpired(
            f"That code worked until {invitation.expires_at.isoformat()}. Ask a manager for a new one, and type it in time."
        )


def revoke_device(command: RevokeDevice, given: Given, _: Moment, *, enrolled: bool) -> Iterable[Data]:
    """Revoked again is recorded again: in doubt the key is dead. `enrolled`: it has a key, though perhaps from before there were invitations."""
    must_know(enrolled or given.of(DEVICE, command.device).invitation, f"device:{command.device}")
    return [DeviceRevoked(device=command.device, cause=command.cause)]
