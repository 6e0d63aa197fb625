"""While two versions of this software run, the newer one may write what the older cannot read: whoever that concerns is not let in."""

import asyncio
from typing import get_args
from uuid import uuid4

import msgspec
import pytest

from contracts import leaf
from contracts.envelope import Event
from contracts.games import CallGame, Entrant, GameStarted, StartGame, StartRefused
from contracts.words import Role
from services.core.append import Append, Draft, Request
from services.core.clock import SetClock
from services.core.park import Asked, Caller, Park
from services.core.times import Contact
from tests.unit.memory_log import MemoryLog
from tests.unit.scenario import NINE
from tests.unit.small_park import HANDLERS, opening


class Older:
    """A process of this version, over a log that a newer one writes to as well."""

    def __init__(self):
        self.log = MemoryLog("small", SetClock(NINE))
        self.park = Park("small", self.log, SetClock(NINE))
        for command in (*opening(), CallGame(game="g1", field="birch", entrants=(Entrant(player="p1", colour="red"),))):
            self.do(command)

    def do(self, command):
        caller = Caller(device="d", roles=frozenset(get_args(Role)))
        asked = Asked(id=uuid4(), digest=b"", caller=caller, contact=Contact(received_at=NINE))
        (event, *_) = asyncio.run(self.park.execute(HANDLERS[type(command)], command, asked)).receipt.events
        return event.data

    def newer_writes(self, *tags):
        """What runs between what the next command reads and what it writes."""
        event = Event(
            type="discipline.player_suspended",
            version=1,
            id=uuid4(),
            day=NINE.date(),
            occurred_at=NINE,
            claimed_at=None,
            clock="server",
            device="d",
            device_seq=None,
            actor=None,
            tags=tags,
            data=msgspec.Raw(b"{}"),
        )
        draft = Draft(event.id, event.type, event.day, NINE, tags, (), leaf.encode(event))
        self.log.meanwhile = lambda: self.log.append(Append(Request(event.id, "d", b""), (draft,)))


@pytest.mark.parametrize(
    "tag",
    ["player:p1", "person:person-p1", "marker:own1", "chrono:k1", "field:birch", "park", "rules", "checks:2026-05-09"],
)
def test_what_only_a_newer_version_can_read_stops_a_start_also_when_it_comes_in_between(tag):
    park = Older()
    park.newer_writes(tag)
    assert isinstance(park.do(StartGame(game="g1")), StartRefused)


def test_what_it_writes_about_others_stops_nobody():
    park = Older()
    park.newer_writes("player:p2", "marker:h1", "field:fern")
    assert isinstance(park.do(StartGame(game="g1")), GameStarted)
