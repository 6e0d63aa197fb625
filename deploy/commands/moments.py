"""`fieldledger audit at`, `… what-if` and `… replay`: any moment of the past, what would have been otherwise, and whether each decision holds."""

import sys
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from pathlib import Path
from textwrap import fill
from typing import Annotated, Any, Final
from zoneinfo import ZoneInfo

import msgspec
from cyclopts import Parameter
from cyclopts.validators import Number

from contracts import leaf
from contracts.board import Status
from contracts.moments import ClearanceAt, Side, StatusAt
from contracts.rules import Rules
from contracts.what_if import Otherwise, Replayed, WhatIf
from contracts.words import FieldId, PlayerId
from deploy.commands.asking import ask, instant
from services.audit.asking import axes
from services.audit.days import must_be_datable
from services.audit.moments.moment import clearance_at
from services.audit.moments.status import status_at
from services.audit.query import fitting
from services.audit.replays.replay import replayed, what_if_at
from services.audit.words.scene import Scene
from services.audit.words.telling import sentence
from services.core.park import Park
from services.core.rules import RULES

WIDTH: Final = 110


def at(  # noqa: PLR0913 - both axes, and how far is known
    player: str | None = None,
    field: str | None = None,
    *,
    as_recorded: str | None = None,
    as_happened: str | None = None,
    as_known: str | None = None,
    park: str | None = None,
    json: bool = False,
) -> None:
    """Tell a player's clearance for a field at a moment, or without them the park's status: as recorded, and as it happened.

    Parameters
    ----------
    player
        Whose clearance; without him the status of the whole park is told.
    field
        The field that he wanted to enter.
    as_recorded
        A point of the log, `<epoch>:<position>` or an instant such as 2026-05-09T13:50:00Z.
    as_happened
        The moment that is asked about.
    as_known
        A point of the log: what was told later does not count. Now, when absent.
    park
        Which park, where there are several.
    json
        As JSON, for a program.

    """
    named = {"as_recorded": as_recorded, "as_happened": as_happened, "as_known": as_known}
    query = {name: value for name, value in named.items() if value is not None}
    if (player is None) != (field is None):
        sys.exit("fieldledger: name a player and a field, or neither of them.")

    async def question(where: Park) -> ClearanceAt | StatusAt:
        if player is not None and field is not None:
            fitting(player, "player", PlayerId)
            fitting(field, "field", FieldId)
        both = await axes(where.log, query, where.clock.now())
        if player is None or field is None:
            return await status_at(both, where.log, (await where.log.head()).epoch)
        return await clearance_at(both, where.park, player, field)

    found = ask(park, question)
    _write(found, _cleared(found) if isinstance(found, ClearanceAt) else _wall(found), as_json=json)


def what_if(  # noqa: PLR0913 - the parts of the question
    *,
    void: tuple[Annotated[int, Parameter(validator=Number(gte=1, lte=2**62))], ...] = (),
    rules: Path | None = None,
    day: date | None = None,
    until: str | None = None,
    park: str | None = None,
    json: bool = False,
) -> None:
    """Tell every decision that would have been another without some events, or under other rules. It writes nothing.

    Parameters
    ----------
    void
        Positions of events to leave out; name it again for each.
    rules
        A file with a whole version of the park rules as JSON, to hold throughout.
    day
        The operating day to replay; that of the events left out, or today's, when absent.
    until
        What was recorded later is not replayed; an instant with its offset, such as 2026-05-09T13:50:00+01:00.
    park
        Which park, where there are several.
    json
        As JSON, for a program.

    """
    if not void and rules is None:
        sys.exit("fieldledger: name events to leave out with --void, or other rules with --rules.")
    asked = WhatIf(void=void, rules=_rules(rules), day=day, until=None if until is None else instant(until))

    async def question(where: Park) -> tuple[Otherwise, dict[int, str]]:
        must_be_datable(day, "--day")
        must_be_datable(asked.until, "--until")
        found = await what_if_at(where.log, asked, where.clock.now())
        return found, await _left_out(where, found)

    found, left_out = ask(park, question)
    _write(found, _otherwise(found, left_out), as_json=json)


def replay(day: date | None = None, *, park: str | None = None, json: bool = False) -> None:
    """Take every decision of a day anew, on what was recorded before it; exit 1 where one does not follow from that.

    Parameters
    ----------
    day
        The operating day, such as 2026-05-09; today's when absent.
    park
        Which park, where there are several.
    json
        As JSON, for a program.

    """

    async def question(where: Park) -> Replayed:
        must_be_datable(day, "day")
        return await replayed(where.log, day, where.clock.now())

    found = ask(park, question)
    _write(found, _follows(found), as_json=json)
    if found.doubtful:
        sys.exit("fieldledger: decisions do not follow from what was recorded before them.")


async def _left_out(where: Park, found: Otherwise) -> dict[int, str]:
    """What was left out, in words, so that a wrong number is seen."""
    given, _ = await where.load(lambda _: ())
    scene = Scene("", given.of(RULES, "").rules)
    rows = [row for position in found.void for row in await where.log.between(position, position)]
    return {row.position: sentence(leaf.decode(row.leaf).data, scene) for row in rows}


def _rules(file: Path | None) -> Rules | None:
    if file is None:
        return None
    try:
        return msgspec.json.decode(file.read_bytes(), type=Rules)
    except (OSError, msgspec.MsgspecError) as error:
        sys.exit(f"fieldledger: {file} holds no version of the park rules: {error}.")


def _write(found: Any, lines: Iterable[str], *, as_json: bool) -> None:
    text = msgspec.json.format(msgspec.json.encode(found)).decode() if as_json else "\n".join(lines)
    sys.stdout.write(f"{text}\n")


def _cleared(found: ClearanceAt) -> Iterator[str]:
    yield f"player {found.player} for field {found.field} in {found.park}"
    for name, side in (("As recorded", found.as_recorded), ("As it happened", found.as_happened)):
        yield f"{name}, {_local(side.basis.now, found.time_zone)}, log up to {side.basis.position}: {_answer(side)}"
        yield from (f"    {one.sentence} ({one.where})" for one in side.reasons)
    yield fill(found.difference, WIDTH)
    for one in found.because:
        yield fill(f"{one.position}  {one.sentence} {one.why}".strip(), WIDTH, subsequent_indent="    ")


def _local(moment: datetime, zone: str) -> str:
    return moment.astimezone(ZoneInfo(zone)).isoformat(" ", "seconds")


def _answer(side: Side) -> str:
    return "cleared" if side.cleared else "not cleared"


def _wall(found: StatusAt) -> Iterator[str]:
    yield from _shown("As recorded", found.as_recorded)
    yield from _shown("As it happened", found.as_happened)
    yield "Differences:" if found.differences else "Nothing differs."
    for one in found.differences:
        because = f" (told late: {', '.join(map(str, one.because))})" if one.because else ""
        yield fill(f"{one.where}: {one.as_recorded} as recorded, {one.as_happened} as it happened{because}", WIDTH)
    yield from (f"{one.position}  {one.sentence}" for one in found.late)


def _shown(name: str, status: Status) -> Iterator[str]:
    people = status.players
    yield f"{name}, {_local(status.as_of, status.time_zone)}, log up to {status.position}:"
    yield f"    {people.cleared} cleared, {people.not_cleared} not cleared, {people.on_field} on a field, {people.gone_home} gone home"
    yield from (f"    {field.title}: {field.state}" for field in status.fields.values())
    yield from (f"    {alert.sentence}" for alert in status.alerts)


def _otherwise(found: Otherwise, left_out: Mapping[int, str]) -> Iterator[str]:
    rules = f" under rules {found.rules}" if found.rules else ""
    yield f"{found.park}, {found.day}, positions {found.first} to {found.last}{rules}: {found.decisions_seen} decisions"
    for position, said in left_out.items():
        yield fill(f"Without {position}: {said}", WIDTH, subsequent_indent="    ")
    told = [(one.position, one.sentence) for one in found.decisions]
    told = sorted([*told, *((one.position, one.sentence) for one in found.consequences)])
    yield from (fill(f"{position}  {sentence}", WIDTH, subsequent_indent="    ") for position, sentence in told)
    if not told:
        yield "No decision would have been another."
    yield fill(found.note, WIDTH)


def _follows(found: Replayed) -> Iterator[str]:
    if not found.decisions_seen:
        yield f"{found.park}, {found.day}: no decision was recorded on that day. Check the day."
        return
    yield f"{found.park}, {found.day}, positions {found.first} to {found.last}: {found.decisions_seen} decisions"
    yield from (fill(f"{one.position}  {one.type}: {one.sentence}", WIDTH) for one in found.doubtful)
    if not found.doubtful:
        yield "Each follows from what was recorded before it."
