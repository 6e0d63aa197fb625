"""`fieldledger fleet`: which hired markers creep, spread or stop, as a table in words."""

import os
import sys
from collections.abc import Iterable, Iterator
from datetime import date
from textwrap import fill
from typing import Final

import msgspec

from contracts.fleet import FleetReport, Looked
from deploy.commands.asking import answered, park_of
from deploy.upkeep import database_of
from services.core.settings import read

WIDTH: Final = 110
COLUMNS: Final = f"{'':20}{'strings':>8}{'mean':>7}{'ft/s an h':>11}{'sd':>6}{'uses':>6}{'stopped':>9}"


def fleet(
    *,
    since: date | None = None,
    until: date | None = None,
    park: str | None = None,
    json: bool = False,
    every: bool = False,
) -> None:
    """Tell which hired markers, and which models, creep, spread or stop, from their history across days.

    Parameters
    ----------
    since
        The first operating day to look at, such as 2026-05-09; all that is kept when absent.
    until
        The last one; today's when absent.
    park
        Which park, where there are several.
    json
        As JSON, for a program.
    every
        A line for every marker, also where one string leaves nothing to compare.

    """
    if since is not None and until is not None and until < since:
        sys.exit(f"fieldledger: --since {since} is after --until {until}: exchange them.")
    found = answered(_asked(since, until, park))
    text = msgspec.json.format(msgspec.json.encode(found)).decode() if json else "\n".join(told(found, every=every))
    sys.stdout.write(f"{text}\n")


async def _asked(since: date | None, until: date | None, park: str | None) -> FleetReport:
    from services.velocity.fleet_reads import fleet_report  # noqa: PLC0415 - SciPy takes its time

    async with park_of(database_of(read(os.environ)), park) as (pool, where):
        return await fleet_report(pool, where, since, until)


def told(found: FleetReport, *, every: bool = True) -> Iterator[str]:
    """The report for somebody who keeps the gear: what was found, then a line for each model, and for each marker that can be compared, or `every`."""
    days = f"from {found.since or 'the first day that is kept'} to {found.until or 'today'}"
    yield f"{len(found.markers)} hired markers, {days}; {found.looks} looks, at a false discovery rate of {found.level:g}."
    sentences = [one.sentence for looked in (*found.models, *found.markers) for one in looked.results if one.found]
    yield "" if sentences else "Nothing was found that chance alone would not show."
    yield from (fill(sentence, WIDTH, subsequent_indent="    ") for sentence in sentences)
    yield from _table("Models", found.models)
    listed = [one for one in found.markers if every or one.results or one.stoppages]
    yield from _table("Markers", listed)
    left = len(found.markers) - len(listed)
    if left:
        yield f"\n{left} more have one string, or none, and nothing to compare it with yet: --every lists them."
    yield ""
    yield fill(found.note, WIDTH)


def _table(name: str, some: Iterable[Looked]) -> Iterator[str]:
    yield f"\n{name}\n{COLUMNS}"
    for one in some:
        results = {result.kind: result for result in one.results}

        creep, spread = (results[kind].estimate if kind in results else None for kind in ("creep", "spread"))
        mean, gain = _cell(one.mean_fps, ".0f"), _cell(creep, "+.2f")
        marks = "  ".join(kind for kind, result in results.items() if result.found)
        yield (
            f"{one.name[:19]:20}{one.strings:8}{mean:>7}{gain:>11}{_cell(spread, '.1f'):>6}{one.uses:6}{one.stoppages:9}  {marks}"
        ).rstrip()


def _cell(figure: float | None, form: str) -> str:
    return "-" if figure is None else f"{figure:{form}}"
