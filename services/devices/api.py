"""The commands and routes of devices."""

from contracts.devices import InviteDevice, RevokeDevice
from services.core.routes import write_route
from services.core.service import Service
from services.devices.invitations import enrol, invite
from services.devices.listing import devices
from services.devices.revoking import revoke

SERVICE = Service(
    "devices",
    routes=(write_route(InviteDevice, invite), write_route(RevokeDevice, revoke), enrol, devices),
)
