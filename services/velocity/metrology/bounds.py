"""Bounds: the speed that is held against a limit, with the risk of a wrong pass that goes with it.

Two things hide a marker's speed. Its shots scatter, by a standard deviation known only from the string itself (Student's t). And the
chronograph's bias, common to the whole string, is known by its standard uncertainty u (normal; what its display rounds away is part of u).
The guard takes both at the stated risk r:

    guard² = (t·scatter)² + (z·u)²        t = T⁻¹(1-r; n-1), z = Φ⁻¹(1-r)

and the risk holds for every mix of the two and every n from 2 on. For given s the bound is missed with probability 1 - Φ(√(guard²/V)),
V the true variance; guard²/V is the mean of (t·s/sigma)² and z², weighted by their parts in V; Φ(√x) is concave, so by Jensen the bound holds at
least as often as either part's own does, which is 1 - r. (S. Banerjee, Sankhyā 22, 1960, for means of unequal variances: from memory.)
With no spread this is the guard band z·u of JCGM 106; with u = 0 it is Student's own bound. In between it is longer than need be: with three readings
by a fifth at most, and then 3.2 % pass wrongly where 5 % are stated. The Welch-Satterthwaite formula of the GUM (JCGM 100, G.4.1) was passed over,
since its risk does not hold: 6.1 % pass at a stated 5 % with three readings, 8.3 % with two. So was t·scatter + z·u: it passes under 1 %.
"""

import math
from functools import cache
from typing import Literal

from scipy.special import nctdtrit, ndtr, ndtri, stdtr, stdtrit

from services.velocity.metrology.strings import Summary

Basis = Literal["every", "mean", "next_shot"]
"""What is held against the limit: every reading; the marker's mean speed; its next shot."""

_FURTHEST = 8.0
"""Standard deviations beyond which a probability, 6 in 10¹⁶, is not told from none."""


@cache
def student(degrees: int, risk: float) -> float:
    """Student's t that is exceeded with probability `risk`, above 0 and under ½, at 1 or more degrees of freedom."""
    _check(risk)
    return -float(stdtrit(degrees, risk))


@cache
def normal(risk: float) -> float:
    """The standard normal that is exceeded with probability `risk`, above 0 and under ½."""
    _check(risk)
    return -float(ndtri(risk))


def _check(risk: float) -> None:
    if not 0 < risk < 0.5:  # the proof above needs quantiles above 0
        raise ValueError("A risk lies above 0 and under 0.5: correct the park's rule.")


def upper_bound(string: Summary, basis: Basis, *, risk: float, instrument_u: float) -> float | None:
    """The speed in ft/s that is held against the limit. None where the basis needs a spread and there is but one reading.

    `risk`: above 0 and under ½. `instrument_u`: the chronograph's standard uncertainty in ft/s, 0 or more. What the risk is of, see `stated_risk`.
    """
    if basis == "every":
        return string.highest_fps
    if string.sd_fps is None:
        return None
    scatter = _scatter(string.sd_fps, string.n, basis)
    guard: float = ((student(string.n - 1, risk) * scatter) ** 2 + (normal(risk) * instrument_u) ** 2) ** 0.5
    return string.mean_fps + guard


def stated_risk(basis: Basis, n: int, risk: float) -> float:
    """The greatest probability of a wrong pass, whatever marker is brought; it is not the share of wrong ones among those that passed.

    `mean`: that a marker passes whose mean speed is at or over the limit: `risk`, for shots that scatter normally.
    `next_shot`: that its next shot reaches the bound: `risk`, likewise. That it passes *and* its next shot reaches the limit is no likelier.
    `every`: that it passes and its next *reading* on the same chronograph reaches the limit: nⁿ/(n+1)ⁿ⁺¹, the greatest p(1-p)ⁿ, for independent shots
    of any distribution. Of the chronograph's own bias it says nothing.
    """
    return n**n / (n + 1) ** (n + 1) if basis == "every" else risk


def probability_over(string: Summary, limit_fps: float, *, instrument_u: float) -> float | None:
    """The probability that the marker's next shot reaches a limit in ft/s. None where there is but one reading.

    It is the risk at which the bound for the next shot lies on the limit; so it is above the stated risk exactly when that bound is above the limit.
    With u = 0 it is Student's predictive probability, with no spread the normal one of JCGM 106, and where the two mix it errs upwards, as the bound does.
    """
    if string.sd_fps is None:
        return None
    distance = limit_fps - string.mean_fps
    tail = _tail(abs(distance), _scatter(string.sd_fps, string.n, "next_shot"), string.n - 1, instrument_u)
    return tail if distance > 0 else 1 - tail


def tolerance_bound(string: Summary, *, share: float, confidence: float) -> float | None:
    """The speed in ft/s under which a share of the marker's shots lies with a confidence, as this chronograph reads them. None for one reading."""
    if string.sd_fps is None:
        return None
    return string.mean_fps + tolerance_factor(string.n, share, confidence) * string.sd_fps


@cache
def tolerance_factor(n: int, share: float, confidence: float) -> float:
    """The exact one-sided factor k₁ = t'(confidence; n-1, z√n)/√n of n readings, 2 or more; z the normal quantile of the share.

    Natrella's approximation, which the NIST handbook prints in 7.2.6.3, is poor under six readings.
    """
    return float(nctdtrit(n - 1, float(ndtri(share)) * math.sqrt(n), confidence)) / math.sqrt(n)


def _scatter(sd: float, n: int, basis: Basis) -> float:
    """The standard uncertainty that the shots' spread leaves: of their mean s/√n (JCGM 100, 4.2.3), of the next shot about it s·√(1+1/n)."""
    return sd * math.sqrt(1 / n if basis == "mean" else 1 + 1 / n)


def _tail(distance: float, scatter: float, degrees: int, instrument_u: float) -> float:
    """The risk at which the guard has a length, 0 or more.

    The guard is convex in z, so Newton's steps from above fall to the root and never pass it.
    """
    both = math.hypot(scatter, instrument_u)
    if not both:
        return 0.0
    if not instrument_u:
        return float(stdtr(degrees, -distance / scatter))
    if not scatter:
        return float(ndtr(-distance / instrument_u))
    z = min(distance / both, -float(ndtri(stdtr(degrees, -distance / scatter))), _FURTHEST)
    for _ in range(50):
        t = -float(stdtrit(degrees, ndtr(-z)))
        guard = math.hypot(t * scatter, z * instrument_u)
        if guard - distance <= 1e-9 * distance:
            break
        slope = math.exp(-z * z / 2) / math.sqrt(2 * math.pi) / _density(t, degrees)
        z -= (guard - distance) * guard / (t * slope * scatter**2 + z * instrument_u**2)
    return float(ndtr(-z))


def _density(t: float, degrees: int) -> float:
    return _density_at_zero(degrees) * math.pow(1 + t * t / degrees, -(degrees + 1) / 2)


@cache
def _density_at_zero(degrees: int) -> float:
    return math.exp(math.lgamma((degrees + 1) / 2) - math.lgamma(degrees / 2)) / math.sqrt(degrees * math.pi)
