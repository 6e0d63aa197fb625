"""Single facts in the few words of a table's cell."""

from collections.abc import Sequence
from typing import Any

from contracts.duty import StaffRegistered
from contracts.envelope import Recorded
from contracts.equipment import BottleRegistered, GearReleased, MarkerRegistered
from contracts.games import FieldConfigured, HoldConfirmed
from contracts.registration import ConsentGiven
from contracts.velocity import ChronoAdjusted, ChronoChecked, MarkerTested
from services.audit.cases.report.moments import listed, plainly
from services.audit.words.judging import stated
from services.audit.words.scene import together
from services.audit.words.velocity import misread
from services.velocity.report import SIGNALS
from services.velocity.states import decides


def consent(event: Recorded[ConsentGiven]) -> str:
    data = event.data
    there = "on site" if data.on_site else "not on site"
    names = f", names {data.responsible} as responsible adult" if data.responsible else ""
    return f"{data.guardian} as {plainly(data.relationship)}, wording {data.wording}, {there}{names}"


def string(event: Recorded[MarkerTested]) -> str:
    data = event.data
    readings = ", ".join(f"{one:g}" for one in data.readings_fps)
    misreads = together(map(misread, data.misreads)) if data.misreads else ""
    more = [
        f"misread: {misreads}" if misreads else "",
        f"balls of {data.ball_g:g} g" if data.ball_g is not None else "",
        f"up to {data.rate_bps:g} balls a second" if data.rate_bps is not None else "",
        f"{data.temperature_c:g} °C" if data.temperature_c is not None else "",
        "sealed" if data.sealed else "",
        "low pressure seen" if data.low_pressure else "",
    ]
    return ", ".join(
        filter(None, [f"{data.marker} on {data.chrono}: {f'{readings} ft/s' if readings else 'no reading'}", *more])
    )


def check(event: Recorded[ChronoChecked]) -> str:
    data = event.data
    found = "good" if data.good else "bad" if decides(data.signals) else "decided nothing"
    why = f" ({listed([SIGNALS[one] for one in data.signals])})" if data.signals else ""
    bias = f", bias {round(data.bias_fps, 2):+g} ft/s" if data.bias_fps is not None else ""
    shots = (
        f", read {_speeds(data.readings_fps)} where the reference read {_speeds(data.reference_fps)} ft/s"
        if data.readings_fps
        else ", by a person's word"
    )
    return f"{data.chrono}: {found}{why}{bias}{shots}"


def work(event: Recorded[ChronoAdjusted]) -> str:
    return f"{event.data.chrono}: {plainly(event.data.work)}"


def _speeds(readings: Sequence[float]) -> str:
    return ", ".join(f"{one:g}" for one in readings)


def limits(event: Recorded[FieldConfigured]) -> str:
    data = event.data
    further = f" and {words}" if (words := stated(data.limit)) else ""
    return f"{data.title}: bench limit {data.limit_fps:g} ft/s{further}, stop limit {data.stop_limit_fps:g} ft/s, from {data.age_floor} years, {data.capacity} players at most"


def model(data: Any) -> str:
    if isinstance(data, BottleRegistered):
        return f"{data.gas}, test due {data.test_due}"
    calibre = f", calibre {data.calibre}, {data.firing_mode}" if isinstance(data, MarkerRegistered) else ""
    return f"model {data.model}{calibre}{', his own' if data.owner else ', hired'}"


def set_aside(event: Recorded[Any]) -> str:
    piece = event.data.marker or event.data.mask or event.data.bottle
    return f"{piece} released" if isinstance(event.data, GearReleased) else f"{piece}: {plainly(event.data.fault)}"


def hold(event: Recorded[Any]) -> str:
    if isinstance(event.data, HoldConfirmed):
        return f"hold {event.data.hold} confirmed: stopped, covers on"
    return f"hold {event.data.hold} asked for: {plainly(event.data.cause)}"


def qualified(event: Recorded[StaffRegistered]) -> str:
    posts = listed([f"{plainly(one.post)} until {one.until}" for one in event.data.qualifications])
    return f"{event.data.staff}: {posts or 'none'}"
