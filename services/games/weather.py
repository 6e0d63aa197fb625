"""The weather stops play: thunder, and heat under which the park's rules allow none, hold every field in the same breath as they are recorded.

A hold by the weather is lifted field by field, by a person, after a sweep, and not before the weather allows it. What is told late counts from
when it happened: it may move that time, or stop play anew. Whoever is in doubt stops play; local law and the insurer's rules come first.
"""

from collections.abc import Iterable
from datetime import UTC
from zoneinfo import ZoneInfo

from contracts.envelope import Command, Data
from contracts.games import HoldAsked
from contracts.park import FlashSeen, RecordFlash, RecordThunder, RecordWeather, ThunderHeard, WeatherRecorded
from contracts.problems import RuleForbids
from services.clearance.field import FIELD, FIELDS, Field
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.park import heat, lightning
from services.park.states import HEAT, LIGHTNING


def subjects(_: Command, given: Given) -> set[Subject]:
    """What was known of the weather, and every field with its holds."""
    wanted: set[Subject] = {(LIGHTNING, ""), (HEAT, ""), (FIELDS, "")}
    return wanted | {(FIELD, name) for name in given.of(FIELDS, "").names}


def record_thunder(command: RecordThunder, given: Given, moment: Moment) -> Iterable[Data]:
    """Told so late that the wait after it is over, it stops nothing any more."""
    waits = moment.now < lightning.resume_at(moment.occurred_at, moment.rules)
    stops = waits and lightning.stops_play(command.flash_to_bang_s, moment.rules)
    return [
        ThunderHeard(flash_to_bang_s=command.flash_to_bang_s),
        *(_stop("lightning", given, moment) if stops else ()),
    ]


def record_flash(_command: RecordFlash, _given: Given, _moment: Moment) -> Iterable[Data]:
    return [FlashSeen()]


def record_weather(command: RecordWeather, given: Given, moment: Moment) -> Iterable[Data]:
    """Heat that was measured before what is known already stops nothing any more."""
    recorded = WeatherRecorded(
        temperature_c=command.temperature_c,
        humidity_percent=command.humidity_percent,
        wet_bulb_globe=command.wet_bulb_globe,
    )
    newest = not given.of(HEAT, "").superseded(moment.day, moment.occurred_at)
    stops = newest and heat.demanded(heat.hot(recorded), moment.rules) == "no_play"
    return [recorded, *(_stop("heat", given, moment) if stops else ())]


def _stop(why: str, given: Given, moment: Moment) -> Iterable[HoldAsked]:
    """A hold of every field that no hold by the weather stops already, named after the moment."""
    every = sorted(given.of(FIELDS, "").names)
    fields = tuple(name for name in every if not _stopped(given.of(FIELD, name)))
    if fields:
        name = f"{why}-{moment.occurred_at.astimezone(UTC):%Y%m%dT%H%M%SZ}"
        yield HoldAsked(hold=name, fields=fields, whole_park=len(fields) == len(every), cause="weather")


def _stopped(field: Field) -> bool:
    return any(hold.cause == "weather" for hold in field.standing)


def must_allow_play(field: str, given: Given, moment: Moment) -> None:
    """Raises RuleForbids while lightning is too recent, or the heat too great, for a hold by the weather to be lifted."""
    last = given.of(LIGHTNING, "").last
    resume = lightning.resume_at(last, moment.rules) if last else None
    if last and resume and moment.occurred_at < resume:
        zone = ZoneInfo(moment.rules.time_zone)
        raise RuleForbids(
            f"The last flash or thunder was at {last.astimezone(zone):%H:%M:%S}. By the park's rules play is resumed at the earliest "
            f"{moment.rules.weather.lightning.wait_minutes:g} minutes after it, at {resume.astimezone(zone):%H:%M:%S}, and later if there is "
            "another. Keep everybody in shelter; then sweep the field and lift the hold.",
            where=f"field:{field}",
        )
    measured = given.of(HEAT, "").weather
    if measured is not None and heat.demanded(heat.hot(measured), moment.rules) == "no_play":
        raise RuleForbids(
            "By the park's rules there is no play in heat as it was measured last. Record the weather anew when it has cooled down; then "
            "sweep the field and lift the hold.",
            where=f"field:{field}",
        )
