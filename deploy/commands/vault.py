"""`fieldledger audit access`: all that is kept about one person, for that person. Asking leaves an event, here as everywhere."""

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from textwrap import indent

import msgspec
import uvloop

from contracts import leaf
from contracts.problems import Refused
from contracts.vault import AccessReport, Kept, Mention
from deploy.commands.audit import AUDIT
from deploy.demo.clock import RunningClock
from deploy.state import DEFAULT, private_folder
from deploy.upkeep import database_of, logs_of
from services.core.park import Caller, Park
from services.core.settings import read
from services.evidence.lookout import Lookout
from services.evidence.outside import Outside
from services.vault.ledger import reapply
from services.vault.report import access_report
from services.vault.safe import Vault

DEVICE = "terminal"


@AUDIT.command
def access(person: str, *, actor: str | None = None, park: str | None = None, json: bool = False) -> None:
    """Open all that is kept about one person. That it was asked, and by whom, is put on the record first.

    Parameters
    ----------
    person
        Whom, as the record names him.
    actor
        Who asks: the member of staff at this terminal.
    park
        Which park, where there are several.
    json
        As JSON, for a program.

    """
    settings = read(os.environ)
    outside = (Path(settings.state).absolute() if settings.state else DEFAULT) / "outside"
    try:
        report = uvloop.run(access_of(database_of(settings), private_folder(outside), park, person, actor))
    except Refused as refused:
        sys.exit(f"fieldledger: {refused.detail}")
    if json:
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(report)).decode() + "\n")
    else:
        sys.stdout.writelines(f"{line}\n" for line in told(report))


async def access_of(
    database_url: str, outside: Path, park: str | None, person: str, actor: str | None = None
) -> AccessReport:
    """The report, with the park's server running or not; what was erased is destroyed first."""
    async with logs_of(database_url) as (pool, logs):
        named = [log for log in logs if park in {None, log.park}]
        if len(named) != 1:
            sys.exit(
                f"fieldledger: name one park with --park: {', '.join(log.park for log in logs) or 'there is none'}."
            )
        async with named[0] as log:
            clock = RunningClock()
            head = await log.head()
            for row in await log.between(head.position, head.position):
                clock.not_before(leaf.decode(row.leaf).recorded_at)
            await Lookout(log, Outside(outside, log.park), None).look()
            where, vault = Park(log.park, log, clock), Vault(pool, outside, log.park)
            await reapply(where, vault)
            who = Caller(device=DEVICE, roles=frozenset({"manager"}), actor=actor)
            return await access_report(where, vault, person, who)


def told(report: AccessReport) -> Iterator[str]:
    """The report for somebody who reads it on paper."""
    yield f"All that is kept about {report.person} at {report.park}, {report.made_at.isoformat(timespec='seconds')}."
    yield f"That this was asked is on the record at position {report.position}."
    if report.erased_at:
        yield f"Erased on {report.erased_at.isoformat(timespec='seconds')}."
    yield f"Age band: {'not known' if report.age_band is None else report.age_band}. Players: {', '.join(report.players) or 'none'}."
    yield f"\nIn the vault: {len(report.details)}"
    for detail in report.details:
        yield from _detail(detail)
    yield f"\nOn the record: {len(report.events)}"
    yield from (f"{_where(event)}  {event.type}  ({_who(event)})" for event in report.events)
    yield f"\nWho looked: {len(report.looked)}"
    yield from (f"{_where(look)}  {_who(look)}" for look in report.looked)
    yield "\nWhat an erasure would meet now:"
    yield from (f"  {reason.sentence}" for reason in report.in_the_way)
    if not report.in_the_way:
        yield "  Nothing stands in its way here."
    yield ""
    yield from report.cautions


def _detail(detail: Kept) -> Iterator[str]:
    yield f"{_where(detail)}  {detail.kind.replace('_', ' ')}, {detail.entry}  ({_who(detail)})"
    yield indent(detail.text if detail.text is not None else f"[{detail.fault}]", " " * 12)


def _where(event: Kept | Mention) -> str:
    return f"  {event.position:>8}  {event.recorded_at.isoformat(timespec='seconds')}"


def _who(event: Kept | Mention) -> str:
    return f"{event.device}, {event.actor}" if event.actor else event.device
