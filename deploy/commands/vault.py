"""`fieldledger audit access`: all that is kept about one person, for that person. Asking leaves an event, here as everywhere."""

import os
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from textwrap import fill, indent
from typing import Final

import msgspec

from contracts.vault import AccessReport, Kept, Mention
from contracts.words import StaffId
from deploy.commands.asking import answered, park_of
from deploy.state import DEFAULT, private_folder
from deploy.upkeep import database_of
from services.audit.query import fitting
from services.audit.stories.sources import story_of
from services.core.park import Caller, Park
from services.core.settings import read
from services.evidence.lookout import Lookout
from services.evidence.outside import Outside
from services.vault.ledger import reapply
from services.vault.report import access_report
from services.vault.safe import Vault

DEVICE = "terminal"
WIDTH: Final = 110
Sentences = Mapping[int, str]
"""By position, what an event says."""


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

    async def answer() -> tuple[AccessReport, Sentences]:
        if actor is not None:
            fitting(actor, "actor", StaffId)
        report = await access_of(database_of(settings), private_folder(outside), park, person, actor)
        async with park_of(database_of(settings), report.park) as (_, where):
            return report, await sentences(where, report)

    report, words = answered(answer())
    if json:
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(report)).decode() + "\n")
    else:
        sys.stdout.writelines(f"{line}\n" for line in told(report, words))


async def access_of(
    database_url: str, outside: Path, park: str | None, person: str, actor: str | None = None
) -> AccessReport:
    """The report, with the park's server running or not; what was erased is destroyed first."""
    async with park_of(database_url, park) as (pool, where), where.log as log:
        await Lookout(log, Outside(outside, where.park), None).look()
        vault = Vault(pool, outside, where.park)
        await reapply(where, vault)
        who = Caller(device=DEVICE, roles=frozenset({"manager"}), actor=actor)
        return await access_report(where, vault, person, who)


async def sentences(where: Park, report: AccessReport) -> Sentences:
    """What each event about the person says: of a player's own only what concerns him, the others are counted."""
    said: dict[int, str] = {}
    for tag in (f"person:{report.person}", *(f"player:{player}" for player in report.players)):
        said |= {event.position: event.sentence for event in (await story_of(where, tag)).events}
    return said


def told(report: AccessReport, words: Sentences) -> Iterator[str]:
    """The report for somebody who reads it on paper."""
    yield f"All that is kept about {report.person} at {report.park}, {report.made_at.isoformat(timespec='seconds')}."
    named = any(look.actor for look in report.looked if look.position == report.position)
    nobody = "" if named else ", under no name: give yours with --actor"
    yield f"That this was asked is on the record at position {report.position}{nobody}."
    if report.erased_at:
        yield f"Erased on {report.erased_at.isoformat(timespec='seconds')}."
    yield f"{_age(report.age_band)} As a player: {', '.join(report.players) or 'never'}."
    yield f"\nIn the vault: {len(report.details) or 'nothing'}"
    for detail in report.details:
        yield from _detail(detail)
    yield f"\nOn the record: {len(report.events)}"
    for event in report.events:
        said = f"{words.get(event.position, event.type)} ({_who(event)})"
        yield fill(f"{_where(event)}  {said}", WIDTH, subsequent_indent=" " * 12)
    yield f"\nWho looked: {len(report.looked)}"
    yield from (f"{_where(look)}  {_who(look)}" for look in report.looked)
    if report.erased_at is None:
        yield "\nWhat an erasure would meet now:"
        yield from (f"  {reason.sentence}" for reason in report.in_the_way)
        if not report.in_the_way:
            yield "  Nothing stands in its way here."
    yield ""
    yield from report.cautions


def _age(band: int | None) -> str:
    if band is None:
        return "No age is recorded."
    return f"Recorded as at least {band} years old." if band else "Recorded as under 8 years old."


def _detail(detail: Kept) -> Iterator[str]:
    yield f"{_where(detail)}  {detail.kind.replace('_', ' ')}, {detail.entry}  ({_who(detail)})"
    yield indent(detail.text if detail.text is not None else f"[{detail.fault}]", " " * 12)


def _where(event: Kept | Mention) -> str:
    return f"  {event.position:>8}  {event.recorded_at.isoformat(timespec='seconds')}"


def _who(event: Kept | Mention) -> str:
    return f"{event.device}, {event.actor}" if event.actor else event.device
