"""How a string of readings is judged, what limits it, and what is no reading, in words for whoever never stood at a chronograph."""

from typing import Final

from contracts.judgement import Basis
from contracts.limits import Limit
from contracts.rules import VelocityRules
from services.audit.words.scene import count, together
from services.velocity.judging import needed
from services.velocity.metrology.bounds import stated_risk

_BASES: Final[dict[Basis, str]] = {
    "every": (
        "at least {readings}, each {must} the limit of the field that is asked. "
        "Whatever marker is brought, in at most {risk} of 100 cases it passes and its very next shot is over"
    ),
    "mean": (
        "at least {readings}; their mean, with a guard band for their spread and for the chronograph's uncertainty, is to be {must} the limit of "
        "the field that is asked. A marker that is too fast on average passes in at most {risk} of 100 cases"
    ),
    "next_shot": (
        "at least {readings}; the bound that they and the chronograph's uncertainty set for the next shot is to be {must} the limit of the field "
        "that is asked. The next shot is over that bound in at most {risk} of 100 cases"
    ),
}


def judged(rules: VelocityRules) -> str:
    """What a test needs, by the basis of the rules, with the stated risk: goes on from `a test needs`."""
    n = needed(rules)
    return _BASES[rules.basis].format(
        readings=count(n, "reading"),
        must="under" if rules.comparison == "<" else "at or under",
        risk=f"{100 * stated_risk(rules.basis, n, rules.risk):.3g}",
    )


def stated(limit: Limit) -> str:
    """A limit as it is stated: `280 ft/s, 7.5 J and 8 balls a second`; empty where it limits nothing."""
    parts = (
        (limit.speed_fps, "ft/s"),
        (limit.speed_mps, "m/s"),
        (limit.energy_j, "J"),
        (limit.rate_bps, "balls a second"),
    )
    found = [f"{value:g} {unit}" for value, unit in parts if value is not None]
    return together(found) if found else ""


def strictest(rules: VelocityRules) -> str:
    """Which limit counts beside a field's own, as a sentence; empty where there is no other."""
    others = [
        f"the {whose}'s ({words})"
        for whose, limit in (("park", rules.park), ("law", rules.law))
        if (words := stated(limit))
    ]
    if not others:
        return ""
    energy = any(limit.energy_j is not None for limit in (rules.park, rules.law))
    by_mass = " A limit in joules becomes a speed by the mass of the ball that is shot." if energy else ""
    return f"The strictest counts of the field's own limit and {together(others)}.{by_mass}"


def left_out(rules: VelocityRules) -> str:
    """What is no reading, as a sentence."""
    return (
        f"A speed under {rules.no_shot_fps:g} ft/s, a double trigger and a shot that the beam lost are misreads: kept on the record, and no readings. "
        f"One that would have been too fast, or a speed over {rules.impossible_fps:g} ft/s, decides nothing: the marker is shot again."
    )
