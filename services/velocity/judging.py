"""Judging: what a string of readings says about a limit, by the park's rule.

One string, one judgement: the number of readings is the rule's, and shooting on never makes a string pass, since a marker at the limit
would then pass a mean three or four times as often as the stated risk. Nothing is struck out for being high: a string that is too fast turns the
marker down even where it is short or doubtful, and a misread that would have turned it down, had it been a reading, makes the string decide nothing.
"""

from collections.abc import Iterable
from typing import NamedTuple

from contracts.judgement import Bound, Cause, Judgement, Verdict
from contracts.rules import VelocityRules
from contracts.velocity import Misread
from contracts.words import Calibre
from services.velocity.metrology.bounds import probability_over, stated_risk, upper_bound
from services.velocity.metrology.strings import Summary, summarize
from services.velocity.metrology.units import joules
from services.velocity.shown import shown_difference

LEAST_TURN_FPS = 5.0
"""How far under the limit a turn should bring a marker at the least. Common practice, no source."""
RATE_OF_ITS_OWN = frozenset({"ramping", "burst", "full"})
"""Firing modes in which the marker sets the rate of fire, and not the finger alone."""


class Shot(NamedTuple):
    """A string as it is judged: speeds in ft/s, the ball's mass in grams, balls per second."""

    readings_fps: tuple[float, ...]
    ball_g: float
    misreads: tuple[Misread, ...] = ()
    low_pressure: bool = False
    rate_bps: float | None = None
    calibre: Calibre | None = None
    firing_mode: str = "semi"


def needed(rules: VelocityRules) -> int:
    """How many readings make a string: the rule's number, and two at the least where the basis needs their spread."""
    return rules.readings if rules.basis == "every" else max(2, rules.readings)


def reaches(speed: float, limit: float, rules: VelocityRules) -> bool:
    """Whether a speed is too fast for a limit: by the park's rule a reading must be under it (`<`), or may equal it (`<=`).

    What differs by less than a billionth of a ft/s is the same speed in two units.
    """
    over = round(speed - limit, 9)
    return over >= 0 if rules.comparison == "<" else over > 0


def verdict(shot: Shot, bound: Bound, rules: VelocityRules) -> tuple[Verdict, tuple[Cause, ...]]:
    """What a string says about a limit, and why where it decides nothing. What is too fast is turned down, whatever else is wrong with the string."""
    if _too_fast(held(shot.readings_fps, rules), bound, rules) or _too_fast_a_rate(shot, bound):
        return "turn_down", ()
    causes = tuple(_causes(shot, bound, rules))
    return ("inconclusive", causes) if causes else ("pass", ())


def held(readings_fps: tuple[float, ...], rules: VelocityRules) -> float | None:
    """The speed in ft/s that is held against the limit, None where nothing was read.

    Of a short string it is its mean alone where a full one's would be guarded, since a mean that reaches the limit is too fast with any guard.
    Of one that was shot on it is the highest that it came to once it was full, so that nobody shoots on until it passes.
    """
    if not readings_fps:
        return None
    full = needed(rules)
    if rules.basis == "every":
        return max(readings_fps)
    if len(readings_fps) < full:
        return summarize(readings_fps).mean_fps
    return max(_bound(readings_fps[:n], rules) for n in range(full, len(readings_fps) + 1))


def _bound(readings_fps: tuple[float, ...], rules: VelocityRules) -> float:
    string = summarize(readings_fps)
    bound = upper_bound(string, rules.basis, risk=rules.risk, instrument_u=rules.instrument_u_fps)
    return string.highest_fps if bound is None else bound


def _too_fast(speed_fps: float | None, bound: Bound, rules: VelocityRules) -> bool:
    return speed_fps is not None and reaches(speed_fps, bound.limit_fps, rules)


def _too_fast_a_rate(shot: Shot, bound: Bound) -> bool:
    """The limit of a rate may be reached: it is stated as the most that is allowed."""
    return shot.rate_bps is not None and bound.rate_bps is not None and shot.rate_bps > bound.rate_bps


def _causes(shot: Shot, bound: Bound, rules: VelocityRules) -> Iterable[Cause]:
    readings = shot.readings_fps
    if len(readings) < needed(rules):
        yield "too_few"
    if shot.low_pressure:
        yield "low_pressure"
    if readings and max(readings) - min(readings) > rules.spread_fps:
        yield "wide_spread"
    if readings and min(readings) < rules.lowest_fps:
        yield "suspiciously_low"
    if any(one.kind == "impossible" for one in shot.misreads):
        yield "impossible"
    if any(_was_too_fast(one, readings, bound, rules) for one in shot.misreads):
        yield "fast_misread"
    if bound.rate_bps is not None and shot.rate_bps is None and shot.firing_mode in RATE_OF_ITS_OWN:
        yield "rate_unseen"


def _was_too_fast(misread: Misread, readings: tuple[float, ...], bound: Bound, rules: VelocityRules) -> bool:
    """Whether a misread reached the limit, or was so high among the readings that the string would be too fast with it."""
    speed = misread.speed_fps
    if speed is None or misread.kind == "impossible":
        return False
    higher = bool(readings) and speed > max(readings)
    return _too_fast(speed, bound, rules) or (higher and _too_fast(held((*readings, speed), rules), bound, rules))


def judgement(shot: Shot, bound: Bound, rules: VelocityRules) -> Judgement:
    """The verdict with every figure that it rests on, and a sentence for the person at the bench."""
    found, causes = verdict(shot, bound, rules)
    n = len(shot.readings_fps)
    against = held(shot.readings_fps, rules)
    figures: dict[str, float | None] = {}
    turn = None
    if n:
        string = summarize(shot.readings_fps)
        turn = _turn_down(string, against, bound, rules)
        figures = {name: getattr(string, name) for name in Summary.__struct_fields__ if name != "n"}
        figures["probability_over"] = probability_over(string, bound.limit_fps, instrument_u=rules.instrument_u_fps)
        figures["energy_j"] = joules(string.highest_fps, shot.ball_g)
    return Judgement(
        verdict=found,
        sentence=_sentence(found, causes, turn, shot, bound, rules),
        causes=causes,
        basis=rules.basis,
        bound=bound,
        comparison=rules.comparison,
        n=n,
        **figures,
        held_fps=against,
        margin_fps=None if against is None else bound.limit_fps - against,
        turn_down_fps=turn,
        stated_risk=stated_risk(rules.basis, max(n, needed(rules)), rules.risk),
        ball_g=shot.ball_g,
        calibre=shot.calibre,
        too_fast_a_rate=_too_fast_a_rate(shot, bound),
        misreads=shot.misreads,
    )


def _turn_down(string: Summary, against: float | None, bound: Bound, rules: VelocityRules) -> float | None:
    """By about how much: what is held comes to lie one standard deviation, at least 5 ft/s, under the limit. None where no speed is too fast."""
    if against is None or not reaches(against, bound.limit_fps, rules):
        return None
    return against - bound.limit_fps + max(LEAST_TURN_FPS, string.sd_fps or 0.0)


_WHY: dict[Cause, str] = {
    "too_few": "too few readings",
    "low_pressure": "the pressure was low",
    "wide_spread": "the readings spread too wide",
    "suspiciously_low": "a reading is suspiciously low",
    "impossible": "a speed was shown that cannot be true",
    "fast_misread": "a misread was too fast to be left out",
    "rate_unseen": "the rate of fire was not seen",
}


def _sentence(  # noqa: PLR0913, PLR0917 - a sentence about all of it
    found: Verdict,
    causes: tuple[Cause, ...],
    turn: float | None,
    shot: Shot,
    bound: Bound,
    rules: VelocityRules,
) -> str:
    if found == "pass":
        return f"Pass for {bound.stated}."
    if found == "inconclusive":
        return f"Nothing decided: {', '.join(_WHY[one] for one in causes)}. Shoot {needed(rules)} again."
    orders: list[str] = []
    if turn is not None:
        orders.append(f"Turn down by about {shown_difference(turn, rules)} for {bound.stated}")
    if _too_fast_a_rate(shot, bound):
        orders.append(f"Set the rate of fire down: {shot.rate_bps:g} balls a second, {bound.rate_bps:g} allowed")
    return f"{'. '.join(orders)}. Record that, and test it again."
