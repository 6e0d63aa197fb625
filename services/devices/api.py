"""The commands and routes of devices."""

from pathlib import Path
from typing import Final

from contracts.devices import PAGE, AcceptLine, DismissLine, InviteDevice, RevokeDevice
from services.core.pages import file_route
from services.core.routes import write_route
from services.core.service import Service
from services.devices.asides import accept, accept_lines, dismiss, dismiss_lines, groups, set_aside
from services.devices.invitations import enrol, invite
from services.devices.listing import device_sequence, devices
from services.devices.revoking import revocations, revoke

FOLDER: Final = Path(__file__).with_name("page")
SERVICE = Service(
    "devices",
    routes=(
        write_route(InviteDevice, invite),
        write_route(RevokeDevice, revoke),
        write_route(AcceptLine, accept),
        write_route(DismissLine, dismiss),
        enrol,
        devices,
        set_aside,
        groups,
        accept_lines,
        dismiss_lines,
        device_sequence,
        file_route("/parks/{park:str}/devices/page", FOLDER / "devices.html", "text/html"),
        *(file_route(f"/parks/{{park:str}}/devices/page/{name}", FOLDER / name, media) for name, media in PAGE.items()),
    ),
    lifespans=(revocations,),
)
