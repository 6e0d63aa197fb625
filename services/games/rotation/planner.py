"""The plan of the next hours, made again whenever something changes.

Fields are taken in the order in which they are free. Each gets the game that was promised there, filled up; only where it would leave out
somebody who has waited longer by more than the rule allows is it made anew. A field that was promised nothing gets the best game of who is
there: first whoever waited longest, then whoever takes the most waiting off the yard (`seating`).
"""

from collections.abc import Sequence
from heapq import heapify, heappop, heappush
from typing import Final

from contracts.rules import RotationRules
from services.games.rotation.filling import Filling
from services.games.rotation.model import Ground, Party, Plan, Seat, Session, Slot, Why
from services.games.rotation.promises import Promises
from services.games.rotation.units import A_MOMENT, Unit, in_session, units

STEP: Final = 5.0
"""Minutes after which a field without a game is looked at again, where nobody else gets ready before."""


def plan(grounds: Sequence[Ground], parties: Sequence[Party], before: Sequence[Slot], rules: RotationRules) -> Plan:
    """Games that start from now to the rule's horizon.

    `before`: the games of the plan published last that have not begun, their times from now too. The same input gives the same plan; with
    nothing changed it is the plan before, with further games at its end.
    """
    planner = _Planner(grounds, parties, before, rules)
    planner.run()
    slots = tuple(sorted(planner.slots, key=lambda slot: (slot.start, slot.field)))
    placed = {seat.party for slot in slots for seat in slot.seats}
    return Plan(
        slots=slots,
        waiting={party.name: planner.why(party) for party in parties if party.name not in placed},
        moved=planner.promises.moved((party.name for party in parties), rules.horizon_minutes),
        parts={name: count for name, count in planner.parts.items() if count > 1},
    )


class _Planner:
    def __init__(
        self, grounds: Sequence[Ground], parties: Sequence[Party], before: Sequence[Slot], rules: RotationRules
    ) -> None:
        self.rules = rules
        self.slots: list[Slot] = []
        self.grounds = {ground.field: ground for ground in grounds}
        self.units = units(grounds, parties)
        self.parts = {unit.name[0]: unit.name[1] for unit in self.units}
        self.promises = Promises(before, self.grounds, rules.break_minutes)
        self._parties = {party.name: party for party in parties}
        self._of_session: dict[tuple[str, Session], list[Unit]] = {
            (ground.field, session): in_session(ground, self._parties[session.party])
            for ground in grounds
            for session in ground.private
            if session.party in self._parties
        }
        self._free = [
            (max(0.0, ground.free_at), ground.field)
            for ground in sorted(grounds, key=lambda one: one.field)
            if ground.free_at is not None
        ]
        heapify(self._free)

    def run(self) -> None:
        while self._free:
            now, field = heappop(self._free)
            if now >= self.rules.horizon_minutes:
                continue
            then = self._next(self.grounds[field], now)
            if then is not None:
                heappush(self._free, (then, field))

    def _next(self, ground: Ground, now: float) -> float | None:
        """Give the field its next game, if it can have one now. When to look at it again."""
        for session in ground.private:
            if session.start - A_MOMENT <= now < session.end:
                return self._in_private(ground, session, now)
        ahead = [session.start for session in ground.private if session.start > now]
        if ahead and now + ground.minutes + self.rules.break_minutes > min(ahead) + A_MOMENT:
            return min(ahead)
        return self._for_all(ground, now)

    def _in_private(self, ground: Ground, session: Session, now: float) -> float:
        if now + ground.minutes > session.end + A_MOMENT:
            return session.end
        own = self._of_session.get((ground.field, session), [])
        ready = [unit for unit in own if unit.ready <= now + A_MOMENT]
        if not ready:
            return min([session.end, *(unit.ready for unit in own)])
        unit = min(ready, key=lambda one: one.since)
        return self._play(ground, now, [unit], private=True)

    def _for_all(self, ground: Ground, now: float) -> float | None:
        pause, rest = self.rules.break_minutes, self.rules.rest_minutes
        suited = [unit for unit in self.units if ground.field in unit.fields]
        promise = self.promises.next_on(ground, now, pause)
        if promise is not None:
            own = (unit for unit in suited if self.promises.holds(promise, unit))
            due = promise.wait_for(own, now, self.rules.patience_minutes)
            if due > now + A_MOMENT:
                return due
        there = [unit for unit in suited if unit.is_free(now, ground.minutes, rest)]
        seated = Filling(there, ground.places, self.promises, promise, self.rules, now).game()
        if seated:
            self.promises.settle(promise, seated)
            return self._play(ground, now, seated, fixed=promise is not None and promise.slot.fixed)
        later = [unit.ready for unit in suited if unit.ready > now + A_MOMENT]
        return min([*later, now + STEP] if there else later, default=None)

    def _play(
        self, ground: Ground, now: float, seated: list[Unit], *, private: bool = False, fixed: bool = False
    ) -> float:
        """Write the game down; when the field is free again."""
        rest = self.rules.break_minutes if private else self.rules.rest_minutes
        for unit in seated:
            unit.play(now, ground.minutes, rest)
        seats = tuple(sorted((Seat(unit.name[0], unit.players, unit.name[1]) for unit in seated), key=_by_name))
        self.slots.append(Slot(ground.field, now, ground.minutes, seats, private=private, fixed=fixed))
        return now + ground.minutes + self.rules.break_minutes

    def why(self, party: Party) -> Why:
        """Why a party has no game in this plan."""
        until = self.rules.horizon_minutes
        own = [unit for unit in self.units if unit.name[0] == party.name]
        if party.ready_at >= until:
            return "not_ready"
        if any(one.party == party.name for ground in self.grounds.values() for one in ground.private):
            return "in_private"
        open_to = {field for unit in own for field in unit.fields if self._opens(field, party.ready_at)}
        if not open_to:
            return "no_field"
        played = (slot for slot in self.slots if slot.field in open_to and not slot.private)
        return "no_place" if any(slot.start >= party.ready_at - A_MOMENT for slot in played) else "too_few"

    def _opens(self, field: str, ready: float) -> bool:
        """Whether the field has time for a game that is open to all, once somebody is ready."""
        ground = self.grounds[field]
        if ground.free_at is None:
            return False
        start, pause = max(0.0, ground.free_at, ready), self.rules.break_minutes
        for session in sorted(ground.private, key=lambda one: one.start):
            if start + ground.minutes + pause > session.start + A_MOMENT and start < session.end:
                start = session.end
        return start < self.rules.horizon_minutes


def _by_name(one: Seat) -> tuple[str, int]:
    return one.party, one.part
