"""The report of a case, made of its stories and events."""

from collections.abc import Sequence
from datetime import datetime

from contracts.story import Story, Told
from services.audit.cases.dossier import Case
from services.audit.cases.report import injury, rulebook, verifying
from services.audit.cases.report.content import Entry, Report, Seal, Section, Table
from services.audit.cases.report.moments import counted, listed, titled

DISCIPLINE = "discipline."
CLOCKS = {
    "server": "time of receipt",
    "corrected": "the device's time, corrected at contact",
    "claimed": "the device's time as claimed",
    "impossible": "time of receipt, since the time claimed was impossible",
}


def report_of(case: Case, stories: Sequence[Story], seal: Seal, signed_at: datetime) -> Report:
    """What the case's report says; the stories are those that may leave the park."""
    events = _each_once(stories)
    zone = case.rules[-1].time_zone
    incidents = case.incidents()
    return Report(
        title="Case file",
        subtitle=f"{titled(case.kind, case.subject)}, {case.park} park".strip(),
        lead=_lead(case, events, zone),
        sections=(
            *(section for one in incidents for section in injury.sections(case, one, zone)),
            _decisions(events),
            _discipline(events),
            *(_timeline(story, several=len(stories) > 1) for story in stories),
            _recorders(events),
            *(_rules(case, number) for number in range(len(case.rules))),
            _verifying(seal),
        ),
        seal=seal,
        stamp=int(signed_at.timestamp()),
    )


def _each_once(stories: Sequence[Story]) -> list[Told]:
    told = {one.position: one for story in stories for one in story.events}
    return [told[position] for position in sorted(told)]


def _lead(case: Case, events: Sequence[Told], zone: str) -> tuple[str, ...]:
    days = sorted({one.recorded.day for one in case.events if case.tag in one.recorded.tags})
    when = f"on {days[0]}" if len(days) == 1 else f"from {days[0]} to {days[-1]}"
    cut = " It has earlier events, which are not in this file." if case.cut else ""
    who = (
        f" It is about {listed(tuple(f'player {one}' for one in case.players))}."
        if case.players and case.kind != "player"
        else ""
    )
    return (
        f"What the park's record holds about {titled(case.kind, case.subject)}: {counted(len(events), 'event')} {when}.{who}{cut} Times are the park's own ({zone}), with their offset.",
        "Names, addresses and medical notes are not in the record and so not in this file: people stand here under opaque ids. Of other players nothing but such an id leaves the park; an event that says more of them is withheld, and stands here as a proven hash with a redacted view.",
        *verifying.CAUTIONS,
    )


def _decisions(events: Sequence[Told]) -> Section:
    rows = []
    for one in events:
        if one.decision is not None:
            said = " ".join(
                [one.decision.sentence, *(f"{reason.sentence} ({reason.where})" for reason in one.decision.reasons)]
            )
            granted = "granted" if one.decision.granted else "refused"
            rested = f"position {one.decision.rests_on}, rules {one.decision.rules}"
            rows.append((one.local_time, granted, said, rested, str(one.position)))
    if not rows:
        return Section(heading="What was decided", text=("The record holds no decision about this subject.",))
    return Section(
        heading="What was decided",
        text=("Each was decided on what was recorded up to the position named, under the rules named.",),
        table=Table(
            columns=("When", "", "Decision and reasons", "It rested on", "Position"),
            rows=tuple(rows),
            widths=(5, 2, 9, 4, 2),
        ),
    )


def _discipline(events: Sequence[Told]) -> Section:
    rows = tuple(
        (one.local_time, one.sentence, one.consequence, _corrections(one), str(one.position))
        for one in events
        if one.type.startswith(DISCIPLINE)
    )
    heading = "Cautions, appeals and withdrawals"
    if not rows:
        return Section(heading=heading, text=("None is recorded.",))
    columns = ("When", "What was recorded", "What followed", "Later", "Position")
    return Section(
        heading=heading,
        text=("Nothing is ever deleted: what was withdrawn stays here, with what withdrew it.",),
        table=Table(columns=columns, rows=rows, widths=(5, 7, 6, 4, 2)),
    )


def _corrections(told: Told) -> str:
    if not told.corrected_by:
        return ""
    return f"corrected or withdrawn at position {listed([str(one) for one in told.corrected_by])}"


def _timeline(story: Story, *, several: bool) -> Section:
    whose = f": {story.subject.replace(':', ' ', 1)}" if several else ""
    order = "as it happened" if story.order == "happened" else "as it was recorded"
    return Section(
        heading=f"Timeline{whose}",
        text=(f"In the order {order}, read up to position {story.position}.",),
        entries=tuple(map(_entry, story.events)),
    )


def _entry(told: Told) -> Entry:
    decision = ""
    if told.decision is not None:
        reasons = " ".join(reason.sentence for reason in told.decision.reasons)
        decision = f"{'Granted' if told.decision.granted else 'Refused'}. {told.decision.sentence} {reasons}".strip()
    notes = (
        ("decision", decision),
        ("rule", told.rule),
        ("what followed", told.consequence),
        ("told late", told.lateness),
        ("later", _corrections(told)),
    )
    at = f", {told.actor}" if told.actor else ""
    return Entry(
        position=told.position,
        time=told.local_time,
        sentence=told.sentence,
        notes=tuple(note for note in notes if note[1]),
        by=f"{told.device}{at} · {told.type} · {CLOCKS[told.clock]}",
    )


def _recorders(events: Sequence[Told]) -> Section:
    by: dict[tuple[str, str], list[Told]] = {}
    for one in events:
        by.setdefault((one.device, one.actor or ""), []).append(one)
    rows = tuple(
        (
            device,
            actor or "nobody named",
            str(len(told)),
            f"{told[0].local_time} to {told[-1].local_time}",
            str(sum(bool(one.lateness) for one in told)),
        )
        for (device, actor), told in sorted(by.items())
    )
    return Section(
        heading="Who recorded it, and on which device",
        table=Table(
            columns=("Device", "Member of staff", "Events", "From, to", "Told late"), rows=rows, widths=(4, 4, 2, 8, 2)
        ),
    )


def _rules(case: Case, number: int) -> Section:
    rules = case.rules[number]
    return Section(
        heading=f"The rules in force: version {rules.version}",
        text=rulebook.sentences(rules),
        table=Table(
            columns=("Violation", "Weighs", "Recorded by, besides the head referee"),
            rows=rulebook.catalogue(rules),
            widths=(6, 2, 4),
        ),
    )


def _verifying(seal: Seal) -> Section:
    steps = tuple((f"{number}. {words}", command) for number, (words, command) in enumerate(verifying.STEPS, 1))
    return Section(
        heading="How anybody can check this file",
        text=(
            "What it proves: " + " ".join(verifying.PROVES),
            "What it does not prove: " + " ".join(verifying.PROVES_NOT),
            f"The park's key: {seal.key}",
        ),
        table=Table(columns=("Step", "Command"), rows=steps, widths=(2, 5), code=1),
        own_page=True,
    )
