"""Retests: which markers to test again first, by the risk that the next shot is over the limit by now, and why.

The risk is the probability of the bench that a marker's next shot reaches the limit (`bounds.probability_over` of its latest string: mean, standard
deviation, number of readings, and the chronograph's uncertainty), with the string's mean moved by what may have come since:

    mean + the greater of gain·hours and warmth·rise + how low the chronograph was found to read

or to what a spot check on the field has read since, with the gain from then on, where that is more. (A gain that was seen on a warm day has the warmth
in it already.) Nothing moves it down, so the risk rises with each of these and with the mean, and falls with a higher limit.

`gain` is the marker's own in ft/s an hour where its history shows one plainly, else its model's, else none; `hours` are those of its days since, nights
left out: games carry no markers on the record, so hours stand for them. A rise in temperature as wide as the rules allow is reckoned as the least
turn of an adjuster, 5 ft/s. Where no string of the present set-up counts, the risk is 1. It is an order in which to test, and clears nobody: the
gate decides by its own rules.
"""

from collections.abc import Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from msgspec import Struct
from msgspec.structs import replace

from contracts.fleet import Retest
from contracts.judgement import Bound
from contracts.rules import Rules, VelocityRules
from services.core.command import Moment
from services.core.rules import operating_day
from services.velocity.chronos import trust_throughout
from services.velocity.creep import Gain
from services.velocity.history import History, Spot
from services.velocity.judging import LEAST_TURN_FPS
from services.velocity.limits import ball_mass, strictest
from services.velocity.metrology.bounds import probability_over
from services.velocity.metrology.strings import Pooled, Summary, summarize
from services.velocity.model import rise_allowed
from services.velocity.states import Bench, Chrono, Limits, Tested, Weather


class Known(Struct, frozen=True):
    """What is known of one marker: its history, its bench, what it gains or else its model does, and how its model's strings scatter."""

    history: History
    bench: Bench
    gain: Gain | None
    model_gain: Gain | None
    model_sd: Pooled | None


class Since(Struct, frozen=True, kw_only=True):
    """What may have moved a marker since its latest string; all 0 or more. `spot_fps`: the fastest that was read on a field since, moved by the gain."""

    hours: float = 0.0
    gain_fps_h: float = 0.0
    rise_c: float = 0.0
    warmth_fps_c: float = 0.0
    low_fps: float = 0.0
    spot_fps: float = 0.0

    def expected(self, mean_fps: float) -> float:
        """About how fast a marker is by now, whose string had this mean; ft/s."""
        moved = max(self.gain_fps_h * self.hours, self.warmth_fps_c * self.rise_c)
        return max(mean_fps + moved + self.low_fps, self.spot_fps)


def risk(string: Summary, since: Since, limit_fps: float, instrument_u: float) -> float:
    """About the probability that the next shot reaches a limit in ft/s; `string` has two readings at least."""
    now = replace(string, mean_fps=since.expected(string.mean_fps))
    found = probability_over(now, limit_fps, instrument_u=instrument_u)
    return 1.0 if found is None else found


def retest(known: Known, chronos: Mapping[str, Chrono], limits: Limits, weather: Weather, moment: Moment) -> Retest:
    """One marker's risk for a field, with the reason in words."""
    history, bench, rules = known.history, known.bench, moment.rules.velocity
    tests = [one for one in bench.tests if one.readings and not one.low_pressure]
    latest = tests[-1] if tests else None
    bound = strictest(limits, ball_mass(bench.calibre, latest.ball_g if latest else None, rules), rules)
    held = history.moved is not None and operating_day(moment.rules, history.moved[0]) == moment.day
    answer = Retest(
        marker=history.marker,
        model=history.model,
        holder=history.holder if held else None,
        risk=1.0,
        limit_fps=bound.limit_fps,
        sentence=f"Nothing was read of its present set-up{_changed(bench)}.",
    )
    if latest is None:
        return answer
    found = trust_throughout(chronos.get(latest.chrono, Chrono(latest.chrono)), latest, rules.chrono)
    string = _string(latest, known.model_sd)
    if found.doubt is not None and found.bias_fps is None:
        why = f"What was read of it on {latest.chrono} does not count: {found.doubt.replace('_', ' ')}."
        return replace(answer, sentence=why)
    if string is None:
        return replace(answer, sentence="One reading does not tell how its shots spread.")
    since = _since(known, latest, max(0.0, -(found.bias_fps or 0.0)), weather, moment)
    over = risk(string, since, bound.limit_fps, rules.instrument_u_fps)
    return replace(
        answer,
        risk=over,
        expected_fps=since.expected(string.mean_fps),
        sentence=f"{_why(known, latest, since, bound, moment.rules)}. {_odds(over)}",
    )


def in_order(found: list[Retest]) -> tuple[Retest, ...]:
    """Those in somebody's hands first, then by risk."""
    return tuple(sorted(found, key=lambda one: (one.holder is None, -one.risk, one.marker)))


def _string(latest: Tested, model_sd: Pooled | None) -> Summary | None:
    """The string; where it has one reading, with its model's scatter."""
    string = summarize(latest.readings)
    if string.sd_fps is not None or model_sd is None:
        return string if string.sd_fps is not None else None
    return replace(string, n=model_sd.degrees + 1, sd_fps=model_sd.sd_fps)


def _gain(known: Known) -> Gain | None:
    return next((one for one in (known.gain, known.model_gain) if one is not None and one.plain), None)


def _since(known: Known, latest: Tested, low_fps: float, weather: Weather, moment: Moment) -> Since:
    gain = _gain(known)
    slope = gain.slope if gain is not None else 0.0
    rise = 0.0
    if weather.temperature_c is not None and latest.temperature_c is not None:
        rise = max(0.0, weather.temperature_c - latest.temperature_c)
    spots = (one.speed_fps + slope * _hours(known, one.at, moment) for one in _spots(known, latest))
    return Since(
        hours=_hours(known, latest.place[0], moment),
        gain_fps_h=slope,
        rise_c=rise,
        warmth_fps_c=_warmth(known.bench, moment.rules.velocity),
        low_fps=low_fps,
        spot_fps=max(spots, default=0.0),
    )


def _hours(known: Known, then: datetime, moment: Moment) -> float:
    return max(0.0, known.history.hours(moment.now, moment.day) - known.history.hours(then))


def _warmth(bench: Bench, rules: VelocityRules) -> float:
    return LEAST_TURN_FPS / rise_allowed(bench, rules)


def _spots(known: Known, latest: Tested) -> list[Spot]:
    return [one for one in known.history.entries if isinstance(one, Spot) and one.place > latest.place]


def _changed(bench: Bench) -> str:
    return f" (changed: {bench.void_cause.replace('_', ' ')})" if bench.void_cause else ""


def _why(known: Known, latest: Tested, since: Since, bound: Bound, rules: Rules) -> str:
    """Why, in words: what was read first and last, and what may have moved it since."""
    zone = ZoneInfo(rules.time_zone)
    mean = summarize(latest.readings).mean_fps
    told = [(one.place[0], summarize(one.readings).mean_fps) for one in known.bench.tests if one.readings]
    told += [(one.at, one.speed_fps) for one in _spots(known, latest)]
    (first_at, first), (last_at, last) = told[0], told[-1]
    if last - first >= 1:
        said = [
            f"{last - first:.0f} ft/s nearer than at {_clock(first_at, zone)}: read {first:.0f}, then {last:.0f} at {_clock(last_at, zone)}"
        ]
    else:
        said = [
            f"Read {mean:.0f} at {_clock(latest.place[0], zone)}, {bound.limit_fps - round(mean):.0f} under {bound.stated}"
        ]
    if since.gain_fps_h > 0 and since.hours > 0:
        whose = "it" if known.gain is not None and known.gain.plain else "its model"
        said.append(
            f"{whose} gains {since.gain_fps_h:.1f} ft/s an hour, and it is {since.hours:.1f} hours since its string"
        )
    if since.rise_c >= 1:
        said.append(f"{since.rise_c:.0f} °C warmer")
    if since.low_fps > 0:
        said.append(f"{latest.chrono} was found to read {since.low_fps:.1f} ft/s low")
    return "; ".join(said)


def _odds(over: float) -> str:
    return (
        f"About {100 * over:.0f} in 100 that the next shot is over."
        if over >= 0.005
        else "The next shot is hardly over."
    )


def _clock(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).strftime("%H:%M")
