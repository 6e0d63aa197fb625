"""A marker asked about at the bench: its strings, and what they say about each field. Read from the log itself."""

from typing import Any, Final

from litestar import Request, get
from litestar.params import FromPath
from msgspec.structs import replace

from contracts.chronos import WATCHING
from contracts.envelope import Reason, Unknown
from contracts.markers import MarkerAtBench, MarkerOnField, MarkerString
from contracts.reasons import reason
from contracts.rules import VelocityRules
from contracts.words import FieldId, MarkerId
from services.core.command import Moment, must_know
from services.core.fold import Fold, Given, Subject
from services.core.reads import fits
from services.core.routes import park_of
from services.core.rules import RULES, operating_day
from services.velocity import model
from services.velocity.answers import answer
from services.velocity.bench import FIELDS
from services.velocity.limits import ball_mass
from services.velocity.shown import shown
from services.velocity.states import BENCH, CHRONO, WEATHER, Bench, Limits, Tested

UNREAD: Final = {
    prefix: Fold(f"velocity.unread.{prefix}", prefix, lambda _: False, {Unknown: lambda *_: True})
    for prefix in ("marker", "chrono")
}
"""Whether something was recorded that this software cannot read."""


def subjects(marker: str, given: Given) -> set[Subject]:
    """What the bench's answer about a marker rests on."""
    wanted: set[Subject] = {(BENCH, marker), (UNREAD["marker"], marker), (FIELDS, ""), (WEATHER, "")}
    chronos = {one.chrono for one in given.of(BENCH, marker).tests}
    return wanted | {(fold, name) for name in chronos for fold in (CHRONO, UNREAD["chrono"])}


def told(marker: str, field: str | None, given: Given, moment: Moment) -> MarkerAtBench:
    """The whole answer; raises UnknownSubject for a marker or a field that the record does not know."""
    bench, rules = given.of(BENCH, marker), moment.rules.velocity
    must_know(bench.registered, f"marker:{marker}")
    fields = [one for one in given.of(FIELDS, "").configured if field in {None, one[0]}]
    must_know(field is None or fields, f"field:{field}")
    found = MarkerAtBench(
        marker=marker,
        calibre=bench.calibre,
        firing_mode=bench.firing_mode,
        gas=bench.gas,
        owned=bench.owned,
        unit=rules.unit,
        strings=tuple(_string(one, bench, rules) for one in bench.tests),
        fields=tuple(_on_field(bench, one, given, moment) for one in fields),
        basis=moment.basis,
    )
    if bench.voided is None:
        return found
    return replace(found, voided_at=bench.voided[0], voided_by=bench.void_cause)


def _string(tested: Tested, bench: Bench, rules: VelocityRules) -> MarkerString:
    return MarkerString(
        test=tested.test,
        chrono=tested.chrono,
        at=tested.place[0],
        readings_fps=tested.readings,
        misreads=tested.misreads,
        low_pressure=tested.low_pressure,
        sealed=tested.sealed,
        temperature_c=tested.temperature_c,
        ball_g=ball_mass(bench.calibre, tested.ball_g, rules),
        rate_bps=tested.rate_bps,
    )


def _on_field(bench: Bench, field: tuple[str, str, Limits], given: Given, moment: Moment) -> MarkerOnField:
    name, title, limits = field
    rules = moment.rules.velocity
    reasons = tuple(_reasons(bench, limits, given, moment))
    judged = model.judged(bench, limits, rules)
    found = MarkerOnField(
        field=name, title=title, line=f"{title}: not measured", cleared=not reasons, reasons=reasons, judgement=judged
    )
    if judged is None:
        return found
    speeds = (judged.held_fps, judged.bound.limit_fps)
    held, limit = (None if speed is None else shown(speed, judged.ball_g, rules) for speed in speeds)
    return replace(found, line=answer(name, title, judged, rules).line, held=held, limit=limit)


def _reasons(bench: Bench, limits: Limits, given: Given, moment: Moment) -> list[Reason]:
    chronos = {one.chrono: given.of(CHRONO, one.chrono) for one in bench.tests}
    unread = [given.of(UNREAD["marker"], bench.marker), *(given.of(UNREAD["chrono"], name) for name in chronos)]
    if given.of(RULES, "").unreadable or any(unread):
        return [reason("record_not_understood", f"marker:{bench.marker}")]
    return model.reasons(bench, chronos, limits, given.of(WEATHER, ""), moment, None)


@get("/parks/{park:str}/velocity/markers/{marker:str}", opt={"roles": WATCHING})
async def marker_at_bench(request: Request[Any, Any, Any], park: FromPath[str], marker: FromPath[str]) -> MarkerAtBench:
    """A marker as the bench knows it, and what its strings say about a field, or about each."""
    where = park_of(request, park)
    marker = fits(marker, MarkerId, "marker")
    asked = request.query_params.get("field")
    field = None if asked is None else fits(asked, FieldId, "field")
    given, read = await where.load(lambda given: subjects(marker, given))
    rules, now = given.of(RULES, "").rules, where.clock.now()
    day = operating_day(rules, now)
    return told(
        marker, field, given, Moment(now=now, occurred_at=now, day=day, rules=rules, position=max(read.values()))
    )
