"""The small vocabularies of a first-aid record, and what local rules may ask to be reported. In an emergency call the emergency services first.

The fields are those that a first-aid book usually has: when, where, who, which injury, what was done, how it ended (secondary text).
The words are common practice, no source; whatever is more than a word belongs in a note in the vault.
"""

from typing import Annotated, ClassVar, Literal

from msgspec import Meta, Struct

from contracts.envelope import Command, Data
from contracts.words import IncidentId, Role

EMERGENCY = "If anybody is hurt, call the emergency services first: the record comes after."
ANY_STAFF: frozenset[Role] = frozenset(
    {"desk", "gear", "chrono", "staging", "referee", "head_referee", "first_aider", "manager"}
)

BodyPart = Literal[
    "head", "face", "eye", "ear", "mouth", "neck", "shoulder", "arm", "wrist", "hand", "finger", "chest", "back",
    "abdomen", "groin", "hip", "leg", "knee", "ankle", "foot", "whole_body",
]  # fmt: skip
Side = Literal["left", "right", "both"]
Injury = Literal[
    "bruise", "graze", "cut", "sprain", "fracture", "dislocation", "burn", "crush", "bite_or_sting", "impact",
    "concussion", "unconsciousness", "breathing", "allergy", "heat", "collapse", "amputation", "loss_of_sight",
    "loss_of_an_eye", "other",
]  # fmt: skip
Treatment = Literal[
    "none", "declined", "observed", "rested", "cleaned", "rinsed", "dressed", "bandaged", "cooled", "immobilised",
    "own_medicine", "recovery_position", "resuscitation", "defibrillator", "handed_to_ambulance",
]  # fmt: skip
Outcome = Literal[
    "played_on", "rested", "went_home", "saw_a_doctor", "taken_to_hospital", "admitted_to_hospital",
    "off_work_over_seven_days", "died",
]  # fmt: skip
"""`taken_to_hospital`: straight from the park, for treatment. `admitted_to_hospital`: stayed there as an in-patient."""
ScenePlace = Literal[
    "open_ground", "bunker", "tower", "trench", "building", "netting", "gate", "staging", "chronograph", "air_station",
    "path", "car_park", "other",
]  # fmt: skip
Sky = Literal["dry", "rain", "fog", "wind", "snow", "ice", "thunder", "dark"]
Help = Literal["ambulance", "air_ambulance", "police", "fire_brigade", "other"]
KeptAt = Literal["first_aid_room", "office", "safe", "gear_counter", "vehicle", "elsewhere"]
Outside = Literal["police", "authority", "insurer", "laboratory", "owner"]
"""Who takes a piece of evidence out of the park."""


Entry = Literal[
    "incident", "injury", "treatment", "outcome", "scene", "help_called", "help_arrived", "witness", "custody_taken",
    "custody_passed", "notification",
]  # fmt: skip
"""The kinds of entry in an incident's record."""
Slip = Literal["mistyped", "wrong_person", "wrong_gear", "wrong_place", "wrong_incident", "told_twice"]
"""Why an entry is withdrawn: it was never so."""


class OfIncident(Data, frozen=True, kw_only=True):
    """Whatever is told of an incident: in any order, and however late. No free text: notes about it lie in the vault."""

    ALSO: ClassVar[tuple[str, ...]] = ("incidents",)
    incident: IncidentId


class TellOfIncident(Command, frozen=True, kw_only=True):
    ROLES: ClassVar[frozenset[Role]] = ANY_STAFF
    FACT: ClassVar[bool] = True
    FIRST: ClassVar[str] = EMERGENCY
    incident: IncidentId


class _Rules(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    pass


class Finding(_Rules, frozen=True, kw_only=True):
    """An injury or an outcome that may have to be reported. A visitor is anybody who is not at work: a player as a rule."""

    who: Literal["worker", "visitor", "anybody"]
    what: Injury | Outcome


class Reminder(_Rules, frozen=True, kw_only=True):
    """Something that local rules may ask to be reported. No statement of any law: what must be reported is for local law."""

    code: Annotated[str, Meta(pattern=r"^[a-z][a-z0-9-]{1,39}$(?!\n)")]
    title: str
    findings: Annotated[tuple[Finding, ...], Meta(min_length=1)]
    """Any of these brings it up."""
    hours: Annotated[float, Meta(ge=0, le=8784)]
    """Within how many hours; 0: without delay."""
    since: Literal["incident", "finding"] = "incident"
    """From when the hours run: from when it happened, or from when the injury or the outcome did."""


def _of(who: Literal["worker", "visitor", "anybody"], *what: Injury | Outcome) -> tuple[Finding, ...]:
    return tuple(Finding(who=who, what=one) for one in what)


_GRAVE: tuple[Finding, ...] = (
    *_of("anybody", "died"),
    *_of("worker", "fracture", "amputation", "loss_of_sight", "loss_of_an_eye", "unconsciousness"),
    *_of("visitor", "taken_to_hospital", "admitted_to_hospital"),
)
REMINDERS: tuple[Reminder, ...] = (
    Reminder(
        code="us-fatality",
        title="Where 29 CFR 1904.39 applies: a worker's death, within 8 hours of it",
        findings=_of("worker", "died"),
        hours=8,
        since="finding",
    ),
    Reminder(
        code="us-severe-injury",
        title="Where 29 CFR 1904.39 applies: a worker admitted to hospital, an amputation, the loss of an eye, within 24 hours of it",
        findings=_of("worker", "admitted_to_hospital", "amputation", "loss_of_an_eye"),
        hours=24,
        since="finding",
    ),
    Reminder(
        code="gb-notice",
        title="Where RIDDOR 2013 applies: tell the enforcing authority by the quickest means, without delay",
        findings=_GRAVE,
        hours=0,
    ),
    Reminder(
        code="gb-report",
        title="Where RIDDOR 2013 applies: the report, within 10 days of the incident",
        findings=_GRAVE,
        hours=240,
    ),
    Reminder(
        code="gb-seven-days",
        title="Where RIDDOR 2013 applies: a worker who could not work for over seven days, within 15 days of the accident",
        findings=_of("worker", "off_work_over_seven_days"),
        hours=360,
    ),
)
"""Two countries' as examples: keep those that apply where the park is, and add what the insurer asks for. All depend on local law.

29 CFR 1904.39(a): employees only; the death within 30 days of the incident, the admission within 24 hours of it (secondary text). We remind beyond that too,
and count from when it happened also where a rule counts from when one learned of it: never later than asked.
RIDDOR 2013, regulations 4 to 6 and schedule 1, part 1: by the quickest practicable means without delay, and a report within 10 days; over seven days' incapacity of a
worker within 15 days; of somebody not at work, an injury for which he is taken from the site to a hospital for treatment.
The regulations' own lists are longer than our words (of fractures, not those of fingers, thumbs and toes): read them.
"""
