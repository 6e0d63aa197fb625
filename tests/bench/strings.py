"""Deciding one string: the CPU time of its judgement with all its statistics, against the time of the HTTP request that records it."""

import time
from random import Random
from statistics import median

from contracts.judgement import Basis, Bound
from contracts.rules import VelocityRules
from services.velocity.judging import Shot, judgement
from tests.bench.commands import server
from tests.bench.figures import Figure
from tests.bench.ground import Ground, database
from tests.bench.history import Day
from tests.bench.load import CONNECTIONS
from tests.bench.turns import in_turn

BASES: tuple[Basis, ...] = ("every", "mean", "next_shot")
STRINGS = 2_000
BOUND = Bound(limit_fps=285.0, source="field", stated="285 ft/s")


def strings() -> list[Shot]:
    """Three shots each, of invented markers around the limit: some pass, some are turned down."""
    random = Random(4)  # noqa: S311 - a sample, not a secret
    means = [random.gauss(280, 4) for _ in range(STRINGS)]
    return [Shot(tuple(round(random.gauss(mean, 3), 1) for _ in range(3)), ball_g=3.2, calibre=".68") for mean in means]


def decided(rules: VelocityRules, shots: list[Shot]) -> float:
    """Seconds of CPU for one string, the median of many."""
    found = []
    for shot in shots:
        begun = time.thread_time()
        judgement(shot, BOUND, rules)
        found.append(time.thread_time() - begun)
    return median(found)


async def measure(here: Ground, _day: Day) -> list[Figure]:
    seconds, shots = here.sizes.seconds, strings()
    with database(here) as where:
        async with server(here, where) as up:
            await up.load(1.0, "", "test")

            async def slowest() -> float:
                return max(decided(VelocityRules(basis=basis), shots) for basis in BASES)

            async def request() -> float:
                return 1 / await up.load(seconds, "", "test")

            judging, recording = await in_turn(here.sizes.turns, slowest, request)
    return [
        Figure(
            name="string_decided",
            what=f"CPU time to judge a string of three with all its statistics, the slowest of the bases {', '.join(BASES)}",
            against=f"the time of one request among {CONNECTIONS} connections that records such a test over HTTP",
            unit="ms",
            value=1000 * judging,
            reference=1000 * recording,
            goal=0.1,
            at_most=True,
        )
    ]
