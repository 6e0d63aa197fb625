"""What is said of a chronograph: whether it can be trusted now and what to do, its charts, and what its strings are worth."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from msgspec.structs import replace

from contracts.chronos import ChartPoint, Disagreeing, Standing, Treatment
from contracts.rules import ChronoRules, Rules, VelocityRules
from contracts.velocity import Signal
from services.velocity.chronos import (
    Doubt,
    averages,
    last,
    signals,
    since_work,
    singles,
    trust,
    trust_throughout,
    values,
)
from services.velocity.measured import Measured
from services.velocity.metrology.charts import Point
from services.velocity.model import passes_corrected
from services.velocity.pairs import disagreement
from services.velocity.states import Bench, Check, Chrono, Limits

LATEST: Final = 2**62
"""Behind every position: what was recorded of a moment by now."""
POINTS: Final = 100
"""The newest checks that a chart shows."""
SIGNALS: Final[dict[Signal, str]] = {
    "person": "the person at it says so",
    "bias": "it is further off than the rule allows",
    "shewhart": "the check is beyond its chart's limits",
    "ewma": "its checks have moved away from the reference",
    "too_few": "too few shots",
}
_WHY: Final[dict[Doubt, str]] = {
    "never_checked": "no check came before it",
    "worked_on": "the chronograph was worked on and not checked between",
    "closed": "the chronograph was out of control",
    "check_overdue": "its check was overdue: a good one now makes it count",
}


def standing(chrono: Chrono, now: datetime, rules: Rules) -> Standing:
    """Whether a chronograph can be trusted now, and what to do."""
    place = (now, LATEST)
    found, check = trust(chrono, place, rules.velocity.chrono), last(chrono, place)
    due = None
    if check is not None and found.doubt in {None, "check_overdue"}:
        due = check.place[0] + timedelta(hours=rules.velocity.chrono.hours)
    return Standing(
        chrono=chrono.chrono,
        trusted=found.trusted,
        sentence=_sentence(found.doubt, check, "" if due is None else _clock(due, now, rules)),
        doubt=found.doubt,
        checked_at=chrono.checks[-1].place[0] if chrono.checks else None,
        good_until=due,
    )


def _sentence(doubt: Doubt | None, check: Check | None, due: str) -> str:
    if check is None:
        return "It was never checked: check it against a reference before anything that it reads can count."
    if doubt == "worked_on":
        return "It was worked on since its last check: nothing that it reads counts before the next good one. Check it against the reference."
    if doubt == "closed":
        why = ", ".join(SIGNALS[one] for one in check.signals) or "its last check was not good"
        return f"Out of control: {why}. Measure on another chronograph; find the cause, record the work, then check it against the reference."
    if doubt == "check_overdue":
        return f"Its check has been overdue since {due}. Check it now: what it has measured since then counts once a check is good."
    if not check.shots:
        return f"It can be trusted on a person's word, given without readings. Check it by {due} with what it and the reference read of the same shots."
    return f"It can be trusted: its last check agreed with the reference. Check it again by {due}."


def _clock(moment: datetime, now: datetime, rules: Rules) -> str:
    """A time of the park's own clock, with its date where that is another day."""
    zone = ZoneInfo(rules.time_zone)
    at = moment.astimezone(zone)
    return f"{at:%H:%M}" if at.date() == now.astimezone(zone).date() else f"{at:%Y-%m-%d %H:%M}"


def chart(chrono: Chrono, now: datetime, rules: ChronoRules) -> tuple[ChartPoint, ...]:
    """The newest checks since the last work, each where it lies on the charts; what no chart holds (a word, too few shots) has no mean."""
    place = (now, LATEST)
    biases = values(chrono, place)
    drawn = zip(singles(biases, rules), averages(biases, rules), strict=True)
    points = (_point(check, drawn, rules) for check in since_work(chrono, place))
    return tuple(points)[-POINTS:]


def _point(check: Check, drawn: Iterator[tuple[Point, Point]], rules: ChronoRules) -> ChartPoint:
    point = ChartPoint(
        at=check.place[0], good=check.good, shots=check.shots, signals=check.signals, bias_fps=check.bias_fps
    )
    if check.bias_fps is None or not check.decides:
        return point
    single, mean = next(drawn)
    return replace(
        point,
        single_limit_fps=single.upper,
        mean_fps=mean.value,
        mean_limit_fps=mean.upper,
        beyond=tuple(signals(check.bias_fps, single, mean, rules)),
    )


def disagreeing(
    one: Chrono, other: Chrono, benches: Iterable[Bench], now: datetime, rules: ChronoRules
) -> Disagreeing | None:
    """Whether two chronographs disagree about the same markers, by how much, and which of the two its own checks speak against."""
    found = disagreement(one, other, benches, rules)
    if found is None:
        return None
    closed = [each.chrono for each in (one, other) if trust(each, (now, LATEST), rules).doubt == "closed"]
    against = closed[0] if len(closed) == 1 else None
    spoken = (
        f"Its own checks speak against {against}."
        if against
        else "Their own checks speak against neither alone: check both against the reference."
    )
    least, most = sorted((abs(found.lower_fps), abs(found.upper_fps)))
    than = "higher" if found.bias_fps > 0 else "lower"
    return Disagreeing(
        other=other.chrono,
        n=found.n,
        bias_fps=found.bias_fps,
        lower_fps=found.lower_fps,
        upper_fps=found.upper_fps,
        p=found.p,
        sentence=(
            f"Reads {abs(found.bias_fps):.1f} ft/s {than} than {other.chrono} over {found.n} markers that both measured "
            f"({least:.1f} to {most:.1f} with {100 * (1 - rules.disagree_risk):g} % confidence). {spoken}"
        ),
        against=against,
    )


class Treated(NamedTuple):
    """What a string is worth; `barred`: the fields that it passes for as it was read, and does not once corrected."""

    treatment: Treatment
    sentence: str
    barred: tuple[str, ...] = ()


def treated(
    measured: Measured, bench: Bench, chronos: Mapping[str, Chrono], fields: Iterable[Limits], rules: VelocityRules
) -> Treated:
    """How a marker that a chronograph measured is treated now, by the latest string of its present set-up, wherever that was shot."""
    latest = bench.tests[-1] if bench.tests else None
    if latest is None:
        return Treated("set_up_changed", "Its set-up has changed since: it has to be measured anew in any case.")
    found = trust_throughout(chronos.get(latest.chrono, Chrono(latest.chrono)), latest, rules.chrono)
    if found.doubt is None:
        elsewhere = "" if latest.test == measured.test else f" It was measured again on {latest.chrono} since."
        return Treated("stays_cleared", f"Stays cleared as far as chronographs go.{elsewhere}")
    bias = found.bias_fps
    if bias is None:
        return Treated("bias_unknown", f"Not cleared: {_WHY[found.doubt]}. Cover on, off the field, measure it again.")
    barred = tuple(
        one.field
        for one in fields
        if passes_corrected(bench, latest, 0.0, one, rules) and not passes_corrected(bench, latest, bias, one, rules)
    )
    if barred:
        return Treated(
            "reaches_limit",
            f"Not cleared for {', '.join(barred)}: corrected for the {_off(bias)}, it does not pass. Cover on, off the field, measure it again.",
            barred,
        )
    return Treated("retest", f"Passes, corrected for the {_off(bias)}: measure it again at its next staging.")


def _off(bias_fps: float) -> str:
    return f"{abs(bias_fps):.1f} ft/s that the chronograph read {'low' if bias_fps < 0 else 'high'}"
