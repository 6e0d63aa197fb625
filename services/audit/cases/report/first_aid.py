"""What was told of an incident after it was recorded: help, casualties, scene, witnesses, evidence, notifications. Each with its positions."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

from contracts.envelope import Data, Recorded
from contracts.equipment import GearReleased
from contracts.incidents import (
    CustodyPassed,
    CustodyTaken,
    EntryWithdrawn,
    HelpArrived,
    HelpCalled,
    IncidentClosed,
    InjuryRecorded,
    NotificationRecorded,
    OutcomeRecorded,
    SceneRecorded,
    TreatmentGiven,
    WitnessNamed,
)
from services.audit.cases.dossier import Case
from services.audit.cases.report.content import Item
from services.audit.cases.report.moments import counted, listed, local, plainly
from services.incidents.custody import chain
from services.incidents.record import Release
from services.incidents.telling import INCIDENT, RELEASES, piece_of

Words = Callable[[Any], str]


class FirstAid:
    """One incident's record in a case. Of casualties it tells only those whom the case is about."""

    def __init__(self, case: Case, incident: str, zone: str) -> None:
        self._case = case
        self._incident = incident
        self._zone = zone

    def _all(self, *kinds: type[Data]) -> list[Recorded[Any]]:
        return [one for one in self._case.standing(*kinds) if one.data.incident == self._incident]

    def _at(self, moment: datetime) -> str:
        return local(moment, self._zone)

    def _item(self, what: str, events: Sequence[Recorded[Any]], words: Words) -> Item:
        if not events:
            return Item(what)
        in_order = sorted(events, key=lambda one: (one.occurred_at, one.position))
        said = "; ".join(f"{words(one)} ({self._at(one.occurred_at)})" for one in in_order)
        return Item(what, said, tuple(one.position for one in in_order))

    def help(self) -> Item:
        def step(event: Recorded[Any]) -> str:
            return f"{plainly(event.data.service)} {'called' if isinstance(event.data, HelpCalled) else 'came'}"

        return self._item("Time the ambulance was called, and came", self._all(HelpCalled, HelpArrived), step)

    def scene(self) -> Iterator[Item]:
        scenes = self._all(SceneRecorded)
        yield self._item("Place", [one for one in scenes if one.data.place], lambda one: plainly(one.data.place))
        yield self._item("Weather there", [one for one in scenes if one.data.sky], lambda one: plainly(one.data.sky))

    def paint(self) -> Item:
        scenes = [one for one in self._all(SceneRecorded) if one.data.paint_batch]
        return self._item("Paint batch", scenes, lambda one: one.data.paint_batch)

    def casualty(self, player: str) -> Iterator[Item]:
        """What was hurt, what was done and how it ended."""

        def his(kind: type[Data]) -> list[Recorded[Any]]:
            return [one for one in self._all(kind) if one.data.player == player]

        yield self._item("Injury", his(InjuryRecorded), _injury)
        yield self._item("Treatment given, by whom, when", his(TreatmentGiven), _treatment)
        yield self._item(
            "How it ended, as far as is known", his(OutcomeRecorded), lambda one: plainly(one.data.outcome)
        )

    def witnesses(self) -> Item:
        """Staff by id; of others only how many: who they are, and what they said, a manager finds in the vault."""
        named = self._all(WitnessNamed)
        staff = sorted({one.data.staff for one in named if one.data.staff})
        others = len({(one.data.person, one.data.player) for one in named if not one.data.staff})
        said = listed([*staff, *([f"{counted(others, 'other')}, whom the park knows"] if others else [])])
        return Item("Named witnesses", said, tuple(one.position for one in named)) if named else Item("Named witnesses")

    def evidence(self) -> Iterator[Item]:
        """The chain of custody of each piece, in the order of happening, with what does not fit in it."""
        incident = INCIDENT.over(self._incident, self._all(CustodyTaken, CustodyPassed))
        for piece in incident.pieces:
            release, let_go = self._release(piece)
            steps = [
                f"{self._at(step.handling.place[0])} {step.handling.giver or 'taken in'} to {step.handling.taker}, "
                f"kept: {plainly(step.handling.kept)}" + (f" [{step.gap}]" if step.gap else "")
                for step in chain(piece, incident.handlings, release)
            ]
            steps += [f"{self._at(one.occurred_at)} released by a manager" for one in let_go]
            events = [one for one in self._all(CustodyTaken, CustodyPassed) if piece in piece_of(one.data)]
            positions = sorted(one.position for one in (*events, *let_go))
            yield Item(f"Custody of {piece.replace(':', ' ', 1)}", "; ".join(steps), tuple(positions))

    def _release(self, piece: str) -> tuple[Release, list[Recorded[Any]]]:
        kind, _, name = piece.partition(":")
        events = [one for one in self._case.of(GearReleased) if getattr(one.data, kind) == name]
        return RELEASES[kind].over(name, events), events

    def notifications(self) -> Item:
        what = "Notifications to insurer and authorities"
        return self._item(what, self._all(NotificationRecorded), lambda one: f"as {one.data.reminder} asks")

    def withdrawn(self) -> Item:
        """What was said and is not so: it stays in the story, and answers nothing here."""
        events = self._all(EntryWithdrawn)
        where = {one.recorded.id: one.recorded.position for one in self._case.events}
        return self._item(
            "Withdrawn, as never so", events, lambda one: (
                f"{plainly(one.data.kind)} at position {where.get(one.data.entry, 'not in this file')}: {plainly(one.data.slip)}"
            )
        )  # fmt: skip

    def closed(self) -> Iterable[Item]:
        closings = self._all(IncidentClosed)
        if closings:
            yield self._item("Record closed by a manager", closings, _closing)


def _injury(event: Recorded[InjuryRecorded]) -> str:
    side = f"{event.data.side} " if event.data.side else ""
    return f"{side}{plainly(event.data.part)}: {plainly(event.data.injury)}"


def _treatment(event: Recorded[TreatmentGiven]) -> str:
    return f"{plainly(event.data.treatment)}, by {event.data.staff or 'nobody of staff'}"


def _closing(event: Recorded[IncidentClosed]) -> str:
    lacks = listed([plainly(one) for one in event.data.missing])
    return f"with this missing: {lacks}" if lacks else "with nothing missing"
