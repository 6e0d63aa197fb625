"""Judging: what a string of readings says about a limit, by the park's rule.

One string, one judgement: the number of readings is the rule's, and nobody shoots on until it passes, since a marker at the limit
would then pass a mean three or four times as often as the stated risk. Nothing is struck out for being high: a reading that is too fast turns the
marker down, a misread that is as fast as the limit, or a speed that cannot be true, makes the string decide nothing.
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

LEAST_TURN_FPS = 5.0
"""How far under the limit a turn should bring a marker at the least. Common practice, no source."""


class Shot(NamedTuple):
    """A string as it is judged: speeds in ft/s, the ball's mass in grams, balls per second."""

    readings_fps: tuple[float, ...]
    ball_g: float
    misreads: tuple[Misread, ...] = ()
    low_pressure: bool = False
    rate_bps: float | None = None
    calibre: Calibre | None = None


def reaches(speed: float, limit: float, rules: VelocityRules) -> bool:
    """Whether a speed is too fast for a limit: by the park's rule a reading must be under it (`<`), or may equal it (`<=`)."""
    return speed >= limit if rules.comparison == "<" else speed > limit


def verdict(shot: Shot, bound: Bound, rules: VelocityRules) -> tuple[Verdict, tuple[Cause, ...]]:
    """What a string says about a limit, and why where it decides nothing. What is too fast is turned down, whatever else is wrong with the string."""
    full = len(shot.readings_fps) >= rules.readings
    held = _held(shot, rules) if full or rules.basis == "every" else None
    if (held is not None and reaches(held, bound.limit_fps, rules)) or _too_fast_a_rate(shot, bound):
        return "turn_down", ()
    causes = tuple(_causes(shot, bound, rules))
    return ("inconclusive", causes) if causes else ("pass", ())


def _held(shot: Shot, rules: VelocityRules) -> float | None:
    """The speed in ft/s that is held against the limit, None where the string has too few readings for the rule's basis."""
    if not shot.readings_fps:
        return None
    if rules.basis == "every":
        return max(shot.readings_fps)
    return upper_bound(summarize(shot.readings_fps), rules.basis, risk=rules.risk, instrument_u=rules.instrument_u_fps)


def _too_fast_a_rate(shot: Shot, bound: Bound) -> bool:
    return shot.rate_bps is not None and bound.rate_bps is not None and shot.rate_bps > bound.rate_bps


def _causes(shot: Shot, bound: Bound, rules: VelocityRules) -> Iterable[Cause]:
    readings = shot.readings_fps
    if len(readings) < rules.readings or (rules.basis != "every" and len(readings) < 2):
        yield "too_few"
    if shot.low_pressure:
        yield "low_pressure"
    if readings and max(readings) - min(readings) > rules.spread_fps:
        yield "wide_spread"
    if readings and min(readings) < rules.lowest_fps:
        yield "suspiciously_low"
    if any(one.kind == "impossible" for one in shot.misreads):
        yield "impossible"
    named = (one for one in shot.misreads if one.kind != "impossible" and one.speed_fps is not None)
    if any(reaches(one.speed_fps or 0.0, bound.limit_fps, rules) for one in named):
        yield "fast_misread"


def judgement(shot: Shot, bound: Bound, rules: VelocityRules) -> Judgement:
    """The verdict with every figure that it rests on, and a sentence for the person at the bench."""
    found, causes = verdict(shot, bound, rules)
    n = len(shot.readings_fps)
    string = summarize(shot.readings_fps) if n else None
    held = _held(shot, rules)
    turn = _turn_down(string, held, bound) if found == "turn_down" else None
    figures: dict[str, float | None] = {}
    if string is not None:
        figures = {name: getattr(string, name) for name in ("mean_fps", "sd_fps", "extreme_spread_fps", "highest_fps")}
        u = rules.instrument_u_fps
        figures["probability_over"] = probability_over(string, bound.limit_fps, instrument_u=u)
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
        held_fps=held,
        margin_fps=None if held is None else bound.limit_fps - held,
        turn_down_fps=turn,
        stated_risk=stated_risk(rules.basis, max(n, rules.readings), rules.risk),
        ball_g=shot.ball_g,
        calibre=shot.calibre,
        too_fast_a_rate=_too_fast_a_rate(shot, bound),
        misreads=shot.misreads,
    )


def _turn_down(string: Summary | None, held: float | None, bound: Bound) -> float | None:
    """By about how much: what is held comes to lie one standard deviation, at least 5 ft/s, under the limit. None where only the rate is too fast."""
    if string is None or held is None or held < bound.limit_fps:
        return None
    return held - bound.limit_fps + max(LEAST_TURN_FPS, string.sd_fps or 0.0)


_WHY: dict[Cause, str] = {
    "too_few": "too few readings",
    "low_pressure": "the pressure was low",
    "wide_spread": "the readings spread too wide",
    "suspiciously_low": "a reading is suspiciously low",
    "impossible": "a speed was shown that cannot be true",
    "fast_misread": "a misread was as fast as the limit",
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
        return f"Nothing decided: {', '.join(_WHY[one] for one in causes)}. Shoot {rules.readings} again."
    if turn is None:
        return f"Too fast a rate: {shot.rate_bps:g} balls a second, {bound.rate_bps:g} allowed. Set it down, record that, test again."
    return f"Turn down by about {turn:.0f} ft/s for {bound.stated}, record that, and test again."
