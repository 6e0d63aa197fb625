"""The trade's words on the wire: identifiers, roles and the small vocabularies that every contract shares.

An identifier's annotation names its tag, so an event's tags follow from its fields: nobody can forget one.
"""

from datetime import date, datetime
from typing import Annotated, Literal

from msgspec import Meta

_ID = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$(?!\n)"


ParkId = Annotated[str, Meta(pattern=r"^[a-z0-9][a-z0-9-]{0,31}$(?!\n)", description="A park: one site, one log.")]
PersonId = Annotated[str, Meta(pattern=_ID, extra={"tag": "person"}, description="A human being across days.")]
PlayerId = Annotated[str, Meta(pattern=_ID, extra={"tag": "player"}, description="A person on one operating day.")]
GroupId = Annotated[str, Meta(pattern=_ID, extra={"tag": "group"}, description="People who came together.")]
DayPass = Annotated[
    str, Meta(pattern=_ID, extra={"tag": "pass"}, description="The code that names a player for the day.")
]
MarkerId = Annotated[str, Meta(pattern=_ID, extra={"tag": "marker"}, description="A launcher.")]
MaskId = Annotated[str, Meta(pattern=_ID, extra={"tag": "mask"}, description="Eye protection with its lens.")]
BottleId = Annotated[
    str, Meta(pattern=_ID, extra={"tag": "bottle"}, description="The air or CO2 cylinder on a marker.")
]
ChronoId = Annotated[str, Meta(pattern=_ID, extra={"tag": "chrono"}, description="A chronograph.")]
FieldId = Annotated[str, Meta(pattern=_ID, extra={"tag": "field"}, description="One playing area with its own limits.")]
GameId = Annotated[str, Meta(pattern=_ID, extra={"tag": "game"}, description="One run of a field's clock.")]
RotationId = Annotated[
    str,
    Meta(
        pattern=_ID,
        extra={"tag": "rotation"},
        description="The day's series of games that a player plays in.",
    ),
]
StaffId = Annotated[str, Meta(pattern=_ID, extra={"tag": "staff"}, description="A member of staff.")]
DeviceId = Annotated[
    str,
    Meta(pattern=_ID, extra={"tag": "device"}, description="A kiosk, handheld, instrument or back office."),
]
PaymentId = Annotated[
    str, Meta(pattern=_ID, extra={"tag": "payment"}, description="Names one payment, unique in the park.")
]
RefundId = Annotated[
    str, Meta(pattern=_ID, extra={"tag": "refund"}, description="Names one refund, unique in the park.")
]
CautionId = Annotated[
    str, Meta(pattern=_ID, extra={"tag": "caution"}, description="Names one caution, unique in the park.")
]
IncidentId = Annotated[
    str, Meta(pattern=_ID, extra={"tag": "incident"}, description="Names one incident, unique in the park.")
]
RecordId = Annotated[
    str,
    Meta(
        pattern=_ID,
        description="Names one record (a payment, a test, a hold), unique in the park.",
    ),
]

Instant = Annotated[datetime, Meta(tz=True, description="RFC 3339 date-time with an offset.")]
Day = Annotated[date, Meta(description="The operating day.")]

Role = Literal[
    "desk",
    "gear",
    "chrono",
    "staging",
    "referee",
    "head_referee",
    "first_aider",
    "manager",
    "auditor",
    "board",
    "integrator",
]
AgeBand = Annotated[
    Literal[0, 8, 10, 12, 14, 16, 18],
    Meta(
        description="The highest of these ages in years that the person has reached; the birth date itself is never recorded here."
    ),
]
Part = Literal["player", "referee", "photographer", "chaperone"]
Colour = Literal["red", "blue", "yellow", "green", "orange", "white"]
ArmbandNumber = Annotated[int, Meta(ge=1, le=9999, description="The large number on the armband.")]
DayArmband = Annotated[
    int, Meta(ge=1, le=9999, extra={"tag": "armband"}, description="The large number on the armband, once a day.")
]
Calibre = Annotated[Literal[".43", ".50", ".68"], Meta(description="Nominal bore in inches.")]
FiringMode = Literal["pump", "semi", "ramping", "burst", "full"]
Gas = Literal["air", "co2"]
Speed = Annotated[float, Meta(ge=0, le=2000, description="Speed in feet per second.")]
Energy = Annotated[float, Meta(gt=0, le=200, description="Muzzle energy in joules.")]
Celsius = Annotated[float, Meta(ge=-60, le=70, description="Temperature in degrees Celsius.")]
Minutes = Annotated[float, Meta(ge=0, le=1440, description="Minutes.")]
Wording = Annotated[str, Meta(pattern=_ID, description="The version of a waiver's or a rule set's wording.")]
Language = Annotated[str, Meta(pattern=r"^[a-z]{2,3}(-[A-Z]{2})?$(?!\n)", description="BCP 47 language tag.")]
