"""`fieldledger audit story` and `fieldledger audit find`: a subject's timeline in the terminal, and who somebody was."""

import sys
from collections.abc import Iterator
from datetime import date
from textwrap import fill
from typing import Annotated, Final, Literal
from zoneinfo import ZoneInfo

import msgspec
from cyclopts import Parameter

from contracts.story import Seen, SeenPlayers, Story, Told
from deploy.commands.asking import ask, instant
from services.audit.stories.routes import tag_of
from services.audit.stories.sightings import by_place, by_sign
from services.audit.stories.sources import story_of
from services.audit.stories.story import Span
from services.core.park import Park
from services.core.rules import RULES

WIDTH: Final = 110


def story(
    kind: str,
    subject: str,
    *,
    order: Literal["recorded", "happened"] = "recorded",
    park: str | None = None,
    json: bool = False,
) -> None:
    """Tell all that the record holds about one subject.

    Parameters
    ----------
    kind
        What it is: player, marker, field, game, chrono, person, group, staff, incident, caution …
    subject
        Which one, as the record names it. The park and its rules are named as the park is.
    order
        In order of recording, or of happening.
    park
        Which park, where there are several.
    json
        As JSON, for a program.

    """

    async def question(where: Park) -> Story:
        return await story_of(where, tag_of(where, kind, subject), Span(order=order))

    found = ask(park, question)
    _write(found, told(found), as_json=json)


def find(  # noqa: PLR0913 - the ways in which somebody may be remembered
    *,
    day_pass: str | None = None,
    armband: int | None = None,
    day: date | None = None,
    field: str | None = None,
    since: Annotated[str | None, Parameter(name="--from")] = None,
    to: str | None = None,
    park: str | None = None,
    json: bool = False,
) -> None:
    """Find a player of a past day: by day pass or armband, or by what happened on a field between two instants.

    Parameters
    ----------
    day_pass
        The code of his pass.
    armband
        The number on his armband.
    day
        The operating day of the pass or armband, such as 2026-05-09; today's when absent.
    field
        The field where something happened.
    since
        From when, with its offset, such as 2026-05-09T14:00:00+01:00.
    to
        Until when.
    park
        Which park, where there are several.
    json
        As JSON, for a program.

    """
    between = None
    if field is not None and since is not None and to is not None:
        between = field, instant(since), instant(to)
    signs = [(sign, str(value)) for sign, value in (("day_pass", day_pass), ("armband", armband)) if value is not None]
    if len(signs) + (between is not None) != 1:
        sys.exit("fieldledger: name one of --day-pass, --armband, or --field with --from and --to.")

    async def question(where: Park) -> SeenPlayers:
        if between is not None:
            return await by_place(where, *between)
        return await by_sign(where, *signs[0], day)

    async def answer(where: Park) -> tuple[SeenPlayers, str]:
        found, (given, _) = await question(where), await where.load(lambda _: ())
        return found, given.of(RULES, "").rules.time_zone

    found, zone = ask(park, answer)
    _write(found, seen(found, zone), as_json=json)


def _write(found: Story | SeenPlayers, lines: Iterator[str], *, as_json: bool) -> None:
    text = msgspec.json.format(msgspec.json.encode(found)).decode() if as_json else "\n".join(lines)
    sys.stdout.write(f"{text}\n")


def told(story: Story) -> Iterator[str]:
    """A story as lines for a terminal: times in the park's zone, what happened, and beneath it all that belongs to it."""
    yield f"{story.subject.replace(':', ' ', 1)} in {story.park}, as the log stood at {story.epoch}:{story.position}. Times are {story.time_zone}."
    day = ""
    for event in story.events:
        if event.local_time[:10] != day:
            day = event.local_time[:10]
            yield f"\n{day}"
        yield from _event(event)


def _event(event: Told) -> Iterator[str]:
    by = f"{event.device}, {event.actor}" if event.actor else event.device
    yield fill(f"{event.local_time[11:]}  {event.sentence} [{event.position}, {by}]", WIDTH, subsequent_indent=" " * 16)
    decision = event.decision
    beneath = {
        "Late": event.lateness,
        "Rule": event.rule,
        "So": event.consequence,
        "Decided": f"{decision.sentence} It rests on position {decision.rests_on} and rules {decision.rules}."
        if decision
        else "",
        "Later": f"withdrawn or corrected at {', '.join(map(str, event.corrected_by))}." if event.corrected_by else "",
    }
    for name, sentence in beneath.items():
        if sentence:
            yield fill(f"{name}: {sentence}", WIDTH, initial_indent=" " * 16, subsequent_indent=" " * 18)


def seen(found: SeenPlayers, zone: str) -> Iterator[str]:
    """Whoever fits, a player a line, with what names him alone beneath it; times in the park's zone."""
    yield f"{found.park}, {found.day}. Times are {zone}."
    for one in found.players:
        yield _line(one, ZoneInfo(zone))
        yield from (fill(sentence, WIDTH, initial_indent="    ", subsequent_indent="    ") for sentence in one.because)


def _line(one: Seen, zone: ZoneInfo) -> str:
    group = f", group {one.group}" if one.group else ""
    first, last = (moment.astimezone(zone).strftime("%H:%M") for moment in (one.first_seen, one.last_seen))
    return (
        f"{one.part} {one.player} (person {one.person}), armband {one.armband}, pass {one.day_pass}{group}; "
        f"seen from {first} to {last}"
    )
