"""Devices: a manager invites one by a code that works once, it is enrolled with a key of its own, and its key can be revoked at once.

Codes and keys are in no event: the record tells who may speak, never by what word. The record names what a device is for, so that
years later it can be asked whether a station was entitled to what it sent.
"""

from datetime import datetime
from typing import Annotated, ClassVar, Final, Literal

from msgspec import Meta, Struct

from contracts.envelope import Command, Data
from contracts.problems import (
    BodyTooLarge,
    Broken,
    CodeExpired,
    CodeNotKnown,
    CodeReplaced,
    CodeUsed,
    Contended,
    IdempotencyKeyMissing,
    IdempotencyKeyReused,
    InvalidBody,
    InvalidParameter,
    MalformedBody,
    NotFound,
    TooManyTries,
    Unavailable,
    UnsupportedMediaType,
)
from contracts.read import Read
from contracts.words import DeviceId, Instant, Role

Roles = Annotated[tuple[Role, ...], Meta(min_length=1, max_length=11, description="What the device's key is for.")]
Station = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$(?!\n)",
        examples=["gate-north"],
        description="Where in the park the device stands.",
    ),
]
Version = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9.+_-]{0,31}$(?!\n)",
        examples=["2026.5"],
        description="The version of the device's own program.",
    ),
]
Code = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9 -]{10,16}$(?!\n)",
        examples=["K7QF3-M2W9T"],
        description="The code of an invitation. Small letters are taken for large, I and L for 1, O for 0; gaps and dashes do not count.",
    ),
]
LineId = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$(?!\n)",
        extra={"tag": "line"},
        examples=["line-3f0c2b9e5d1a4c7f8e6b0a9d2c4e1f73"],
        description="A line of a batch that was set aside.",
    ),
]
Sha256 = Annotated[
    str, Meta(pattern=r"^[0-9a-f]{64}$(?!\n)", description="SHA-256 of the line's bytes, without its line feed.")
]
ProblemWord = Annotated[
    str,
    Meta(
        pattern=r"^[a-z-]{1,60}$(?!\n)",
        examples=["device-revoked"],
        description="Why it was set aside: the last part of the problem's type.",
    ),
]
Dismissal = Annotated[
    Literal["recorded_by_hand", "already_recorded", "did_not_happen", "unreadable"],
    Meta(
        description="What happened is recorded otherwise; it had been recorded before; it did not happen; nobody can tell what it says."
    ),
]
Cause = Literal["lost", "stolen", "replaced", "retired", "misused"]
Ahead = Annotated[
    int, Meta(description="Milliseconds that the device's clock was ahead of the park's; less than 0: behind.")
]


class DeviceInvited(Data, frozen=True, kw_only=True):
    """A code was made that enrols the device once, until it expires or a newer one replaces it."""

    device: DeviceId
    roles: Roles
    station: Station | None
    expires_at: Instant


class InviteDevice(Command, frozen=True, kw_only=True):
    """Make a code that enrols a device, or enrols it anew. It replaces the code before; the device's key works on until the new one is taken.

    The answer bears the code this once: the same request again is answered without it.
    """

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager"})
    device: DeviceId
    roles: Roles
    station: Station | None = None
    minutes: Annotated[int, Meta(ge=1, le=1440, description="How long the code works.")] = 15


class DeviceEnrolled(Data, frozen=True, kw_only=True):
    """The device took its invitation, and from then on has a key of its own; whatever key it had before opens nothing."""

    device: DeviceId
    roles: Roles
    station: Station | None
    version: Version | None


class DeviceRevoked(Data, frozen=True, kw_only=True):
    """The device's key opens nothing any more, and no invitation from before enrols it."""

    device: DeviceId
    cause: Cause


class RevokeDevice(Command, frozen=True, kw_only=True):
    """Revoke a device's key, and any invitation of it. Within a second nothing that bears the key is taken, in any process of the park.

    What the device still sends in batches is set aside for a person to judge.
    """

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager", "head_referee"})
    device: DeviceId
    cause: Cause


class LineAccepted(Data, frozen=True, kw_only=True):
    """A line that had been set aside was recorded after all, under its first device, key and time, on a person's word. `position`: of its event, the last one where it has several."""

    line: LineId
    device: DeviceId
    position: Annotated[int, Meta(ge=1)]
    sha256: Sha256
    problem: ProblemWord


class LineDismissed(Data, frozen=True, kw_only=True):
    """A line that had been set aside was not recorded, on a person's word. Only its hash is kept."""

    line: LineId
    device: DeviceId
    cause: Dismissal
    sha256: Sha256
    problem: ProblemWord


class AcceptLine(Command, frozen=True, kw_only=True):
    """Record a line that was set aside, as if it had been taken when it came: under its own device, key and time, by the rights that the device then had.

    Refused with the line's own problem where it still does not fit; what cannot be read can only be dismissed.
    """

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager", "head_referee"})
    line: LineId


class DismissLine(Command, frozen=True, kw_only=True):
    """Leave a line that was set aside unrecorded. What did happen is recorded first, by hand."""

    ROLES: ClassVar[frozenset[Role]] = frozenset({"manager", "head_referee"})
    line: LineId
    cause: Dismissal


class Enrol(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a device sends in place of a key, the first time."""

    code: Code
    version: Version | None = None


class Enrolment(Struct, frozen=True, kw_only=True):
    """A device is enrolled. Its key is shown this once: whoever loses this answer is invited anew."""

    park: str
    device: str
    key: str
    roles: tuple[Role, ...]
    station: str | None
    epoch: int
    position: int


class KnownDevice(Struct, frozen=True, kw_only=True):
    """One device as a manager sees it. `state`: `invited` as long as it was never enrolled; a revoked one may be invited anew.

    `seen_at`, `version`, `ahead_ms` and `last_seq` are what it said at its last contact; None: it never said.
    """

    device: str
    state: Literal["invited", "enrolled", "revoked"]
    roles: tuple[Role, ...]
    station: str | None
    enrolled_at: datetime | None
    revoked_at: datetime | None
    invited_until: datetime | None
    """Until when an invitation that nobody has taken yet works."""
    seen_at: datetime | None
    version: str | None
    ahead_ms: Ahead | None
    last_seq: int | None
    """The greatest number of its own count that was heard of."""
    holes: tuple[tuple[int, int], ...]
    """Numbers below that which never came, as ranges with both ends."""
    set_aside: int
    """Lines of its batches that wait for a person's judgement."""


class KnownDevices(Struct, frozen=True, kw_only=True):
    park: str
    as_of: datetime
    devices: tuple[KnownDevice, ...]


PAGE: Final[dict[str, str]] = {
    "devices.css": "text/css",
    "devices.js": "text/javascript",
    "cards.js": "text/javascript",
    "asides.js": "text/javascript",
}
"""The files of the devices' page, and what they are."""
READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/devices/page",
        summary="The page on which a manager invites and revokes devices, and judges what was set aside. It asks for a manager's key.",
        roles=None,
        media="text/html",
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/devices/page/{name}",
            summary="A part of the devices' page.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for name, media in PAGE.items()
    ),
    Read(
        path="/parks/{park}/devices/enrol",
        summary="A device takes its invitation: the code it was given, for a key of its own that is shown this once.",
        roles=None,
        method="post",
        body=Enrol,
        keyed=True,
        answer=Enrolment,
        status=201,
        problems=(
            MalformedBody,
            InvalidBody,
            InvalidParameter,
            IdempotencyKeyMissing,
            IdempotencyKeyReused,
            CodeNotKnown,
            CodeUsed,
            CodeExpired,
            CodeReplaced,
            TooManyTries,
            NotFound,
            BodyTooLarge,
            UnsupportedMediaType,
            Contended,
            Unavailable,
            Broken,
        ),
    ),
    Read(
        path="/parks/{park}/devices",
        summary="Every device that was ever invited or enrolled: what it is for, when it was last heard, and how its clock stands.",
        roles=frozenset({"manager", "head_referee", "auditor"}),
        answer=KnownDevices,
    ),
)
