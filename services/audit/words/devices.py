"""Which devices might speak to the park, in words."""

from contracts.devices import DeviceEnrolled, DeviceInvited, DeviceRevoked, LineAccepted, LineDismissed
from services.audit.words.scene import Scene, Words, spoken, together


def _invited(data: DeviceInvited, scene: Scene) -> str:
    return f"Device {data.device} was invited{_meant(data)}, by a code that works once, until {scene.clock(data.expires_at)}."


def _enrolled(data: DeviceEnrolled, _: Scene) -> str:
    version = f", running version {data.version}" if data.version else ""
    return f"Device {data.device} was enrolled{_meant(data)}{version}; any key it had before opens nothing."


def _meant(data: DeviceInvited | DeviceEnrolled) -> str:
    where = f" at {data.station}" if data.station else ""
    return f"{where} for {together([spoken(role) for role in data.roles])}"


def _accepted(data: LineAccepted, _: Scene) -> str:
    why = data.problem.replace("-", " ")
    return f"A line of device {data.device} that had been set aside ({why}) was accepted, and is recorded as event {data.position}."


WORDS: Words = {
    DeviceInvited: _invited,
    DeviceEnrolled: _enrolled,
    LineAccepted: _accepted,
    LineDismissed: lambda d, _: (
        f"A line of device {d.device} that had been set aside was dismissed: {spoken(d.cause)}. Its hash is {d.sha256}."
    ),
    DeviceRevoked: lambda d, _: f"The key of device {d.device} was revoked: {spoken(d.cause)}.",
}
