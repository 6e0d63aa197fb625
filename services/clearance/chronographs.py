"""Chronographs asked about: each instrument's standing, and what became of the markers that it measured, with who carries them where."""

from collections.abc import Callable, Iterator
from typing import Any

from litestar import Request, get
from litestar.params import FromPath
from msgspec.structs import replace

from contracts.chronos import WATCHING, Chronograph, Chronographs, MeasuredMarker, Standing
from contracts.words import ChronoId
from services.clearance.asking import fits, moment_of
from services.clearance.field import FIELDS
from services.clearance.model import UNREAD
from services.clearance.presence import PRESENCE
from services.core.command import Moment, must_know
from services.core.fold import Given, Subject
from services.core.routes import park_of
from services.equipment.states import MARKER
from services.registration.states import PLAYER
from services.velocity import report
from services.velocity.measured import CHRONOS, OUTPUT
from services.velocity.states import BENCH, CHRONO, LIMITS

NOT_UNDERSTOOD = "Its record holds something that this software cannot read: nothing that it reads counts until somebody can. Measure on another."
DONE_WITH = frozenset({"stays_cleared", "set_up_changed"})
"""Treatments that ask nothing of anybody on this chronograph's account."""


def of_all(given: Given) -> set[Subject]:
    """What the standing of every chronograph rests on."""
    wanted: set[Subject] = {(CHRONOS, "")}
    for name in given.of(CHRONOS, "").names:
        wanted |= {(CHRONO, name), (UNREAD["chrono"], name)}
    return wanted


def of_one(chrono: str) -> Callable[[Given], set[Subject]]:
    """What to read of one: itself and the others, its markers and their strings, who holds them, and the fields' limits."""

    def reads(given: Given) -> set[Subject]:
        wanted = of_all(given)
        wanted |= {(CHRONO, chrono), (OUTPUT, chrono), (UNREAD["chrono"], chrono), (FIELDS, "")}
        wanted |= {(LIMITS, name) for name in given.of(FIELDS, "").names}
        for one in given.of(OUTPUT, chrono).latest:
            wanted |= {(BENCH, one.marker), (MARKER, one.marker)}
            wanted |= {(CHRONO, tested.chrono) for tested in given.of(BENCH, one.marker).tests}
            holder = given.of(MARKER, one.marker).holder
            if holder is not None:
                wanted |= {(PRESENCE, holder), (PLAYER, holder)}
        return wanted

    return reads


def standing(given: Given, chrono: str, moment: Moment) -> Standing:
    """Whether a chronograph can be trusted now."""
    found = report.standing(given.of(CHRONO, chrono), moment.now, moment.rules)
    if not given.of(UNREAD["chrono"], chrono).found:
        return found
    return replace(found, trusted=False, doubt="not_understood", sentence=NOT_UNDERSTOOD, good_until=None)


def chronograph(given: Given, chrono: str, moment: Moment) -> Chronograph:
    """All that is known of one; raises UnknownSubject where the park has entered none of that name."""
    itself, rules = given.of(CHRONO, chrono), moment.rules.velocity
    must_know(itself.registered, f"chrono:{chrono}")
    benches = [given.of(BENCH, one.marker) for one in given.of(OUTPUT, chrono).latest]
    others = (given.of(CHRONO, name) for name in sorted(given.of(CHRONOS, "").names - {chrono}))
    found = (report.disagreeing(itself, other, benches, moment.now, rules.chrono) for other in others)
    stands = standing(given, chrono, moment)
    return Chronograph(
        **{name: getattr(stands, name) for name in Standing.__struct_fields__},
        checks=report.chart(itself, moment.now, rules.chrono),
        works=tuple(at for at, _ in itself.works),
        markers=tuple(sorted(measured(given, chrono, moment), key=_most_urgent_first)),
        disagreements=tuple(one for one in found if one is not None),
        basis=moment.basis,
    )


def measured(given: Given, chrono: str, moment: Moment) -> Iterator[MeasuredMarker]:
    """The markers that it measured since its last good check, and those from before whose strings are in doubt."""
    good = [one.place for one in given.of(CHRONO, chrono).checks if one.good]
    fields = [given.of(LIMITS, name) for name in sorted(given.of(FIELDS, "").names)]
    for one in given.of(OUTPUT, chrono).latest:
        bench = given.of(BENCH, one.marker)
        chronos = {tested.chrono: given.of(CHRONO, tested.chrono) for tested in bench.tests}
        treated = report.treated(one, bench, chronos, fields, moment.rules.velocity)
        if treated.treatment in DONE_WITH and good and one.place < good[-1]:
            continue
        holder = given.of(MARKER, one.marker).holder
        on = given.of(PRESENCE, holder).on if holder is not None else None
        yield MeasuredMarker(
            marker=one.marker,
            test=one.test,
            at=one.place[0],
            treatment=treated.treatment,
            sentence=treated.sentence,
            not_cleared_for=treated.barred,
            holder=holder,
            armband=given.of(PLAYER, holder).armband if holder is not None else None,
            on_field=on.field if on else None,
        )


_URGENCY = ("bias_unknown", "reaches_limit", "retest", "set_up_changed", "stays_cleared")


def _most_urgent_first(one: MeasuredMarker) -> tuple[bool, int, Any]:
    """Markers on a field first, whatever is not cleared before the rest."""
    return one.treatment in DONE_WITH or one.on_field is None, _URGENCY.index(one.treatment), one.at


@get("/parks/{park:str}/velocity/chronos", opt={"roles": WATCHING})
async def chronos(request: Request[Any, Any, Any], park: FromPath[str]) -> Chronographs:
    """Every chronograph, whether it can be trusted now, and what is to be done."""
    where = park_of(request, park)
    given, read = await where.load(of_all)
    moment = moment_of(where, given, max(read.values()))
    names = sorted(given.of(CHRONOS, "").names)
    return Chronographs(chronos=tuple(standing(given, name, moment) for name in names), basis=moment.basis)


@get("/parks/{park:str}/velocity/chronos/{chrono:str}", opt={"roles": WATCHING})
async def one_chrono(request: Request[Any, Any, Any], park: FromPath[str], chrono: FromPath[str]) -> Chronograph:
    """One chronograph: the charts of its checks, what it measured and how that is treated, and which others read otherwise."""
    where = park_of(request, park)
    chrono = fits(chrono, ChronoId, "chrono")
    given, read = await where.load(of_one(chrono))
    return chronograph(given, chrono, moment_of(where, given, max(read.values())))


ROUTES = (chronos, one_chrono)
