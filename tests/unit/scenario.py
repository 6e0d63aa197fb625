"""Given events, when a command, then events or a refusal: the rules without a database.

A `Scenario` is a log in memory. `given` appends facts as they are, `when` decides a command with the very handlers that the server uses.
"""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

import msgspec

from contracts import leaf
from contracts.catalogue import TYPES, tags_of
from contracts.envelope import Command, Data, Event, Recorded
from contracts.words import Role
from services.core.command import Handler, Moment
from services.core.fold import Fold, Given, Subject
from services.core.rules import RULES, operating_day
from services.core.times import Contact, occurred

NINE = datetime(2026, 5, 9, 9, 0, tzinfo=UTC)
"""The invented Saturday on which every scenario begins."""


class Scenario:
    """The log of one park in memory; `at` moves its clock to some minutes past nine."""

    def __init__(self, handlers: Iterable[Handler[Any]] = ()) -> None:
        self.handlers = {handler.command: handler for handler in handlers}
        self.events: list[Recorded[Any]] = []
        self._by_tag: dict[str, list[Recorded[Any]]] = {}
        self.now = NINE
        self.device = "test"
        """Which device sends what comes next."""

    def at(self, minutes: float) -> "Scenario":
        self.now = NINE + timedelta(minutes=minutes)
        return self

    def given(self, *data: Data, occurred_at: datetime | None = None) -> "Scenario":
        """These things happened, and were recorded now; through real leaf bytes, so that decoding is exercised too."""
        for one in data:
            happened = occurred_at or self.now
            event = Event(
                type=TYPES[type(one)],
                version=one.VERSION,
                id=UUID(int=len(self.events) + 1),
                day=operating_day(self.state(RULES).rules, happened),
                occurred_at=happened,
                claimed_at=occurred_at,
                clock="server",
                device=self.device,
                device_seq=None,
                actor=None,
                tags=tags_of(one),
                data=msgspec.Raw(msgspec.json.encode(one)),
            )
            framed = leaf.frame("test", 1, len(self.events) + 1, self.now, leaf.encode(event))
            self.record(leaf.decode(framed))
        return self

    def record(self, event: Recorded[Any]) -> None:
        self.events.append(event)
        for tag in event.tags:
            self._by_tag.setdefault(tag, []).append(event)

    def state(self, fold: Fold[Any], subject: str = "") -> Any:
        """What a fold makes of the subject's events so far."""
        tag = fold.tag(subject)
        return fold.over(subject, self._by_tag.get(tag, ()))

    def moment(self, roles: Iterable[Role] = (), occurred_at: datetime | None = None) -> Moment:
        rules = self.state(RULES).rules
        happened = occurred_at or self.now
        return Moment(
            now=self.now,
            occurred_at=happened,
            day=operating_day(rules, happened),
            rules=rules,
            position=len(self.events),
            device=self.device,
            roles=frozenset(roles),
        )

    def load(self, reads: Any) -> Given:
        """What the server would read for these subjects."""
        given, known = Given(), set[Subject]()
        while wanted := set(reads(given)) - known:
            for fold, subject in wanted:
                given.put((fold, subject), self.state(fold, subject))
            known |= wanted
        return given

    def when(self, command: Command, *roles: Role) -> tuple[Data, ...]:
        """Decide a command and record what it comes to; raises its `Refused`. The events are returned."""
        handler = self.handlers[type(command)]
        given = self.load(lambda given: handler.reads(command, given))
        time = occurred(command, Contact(received_at=self.now), self.state(RULES).rules)
        decided = tuple(handler.decide(command, given, self.moment(roles or command.ROLES, time.at)))
        self.given(*decided, occurred_at=time.at)
        return decided
