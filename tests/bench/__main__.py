"""The figures: every measure on real servers, printed, and kept in build/bench.json: `python -m tests.bench [--quick] [measure …]`."""

import sys
from collections.abc import Awaitable, Callable

import structlog
import uvloop

from services.core.garbage import look_seldom
from tests.bench import (
    appends,
    batches,
    case,
    commands,
    evidence,
    figures,
    gate,
    growth,
    readers,
    replay,
    saturday,
    strings,
    teams,
    wall,
    what_if,
)
from tests.bench.figures import Figure
from tests.bench.ground import QUICK, Ground, Sizes, ground
from tests.bench.history import Day, played

MEASURES: dict[str, Callable[[Ground, Day], Awaitable[list[Figure]]]] = {
    "appends": appends.measure,
    "replay": replay.measure,
    "commands": commands.measure,
    "batches": batches.measure,
    "readers": readers.measure,
    "strings": strings.measure,
    "gate": gate.measure,
    "wall": wall.measure,
    "growth": growth.measure,
    "case": case.measure,
    "evidence": evidence.measure,
    "what_if": what_if.measure,
    "teams": teams.measure,
    "saturday": saturday.measure,
}


def main(arguments: list[str]) -> None:
    quick = "--quick" in arguments
    wanted = [name for name in arguments if name != "--quick"] or list(MEASURES)
    structlog.configure(logger_factory=structlog.PrintLoggerFactory(sys.stderr))
    look_seldom()
    found: list[Figure] = []
    with ground(QUICK if quick else Sizes()) as here:
        day = uvloop.run(played(here))
        for name in wanted:
            for figure in uvloop.run(MEASURES[name](here, day)):  # type: ignore[arg-type]
                found.append(figure)
                sys.stdout.write(f"{figure}\n")
                sys.stdout.flush()
    figures.write(found)
    missed = [figure.name for figure in found if not figure.holds]
    sys.stdout.write(f"{len(found) - len(missed)} of {len(found)} goals hold; not: {', '.join(missed) or 'none'}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
