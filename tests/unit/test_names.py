"""A fact that takes a new name: of two stations that take it at the same time, the second is told so, as it would be a moment later."""

import asyncio
from typing import get_args
from uuid import uuid4

import pytest

from contracts.discipline import Caution
from contracts.problems import AlreadyRecorded
from contracts.words import Role
from services.core.clock import SetClock
from services.core.park import Asked, Caller, Park
from services.core.times import Contact
from services.discipline.slip import SLIP
from services.discipline.states import RECORD
from services.registration.money import PAYMENT, PURSE
from tests.unit.memory_log import MemoryLog
from tests.unit.scenario import NINE
from tests.unit.small_park import HANDLERS, opening, payment


class Desk:
    """A small park that is open, over a log in memory."""

    def __init__(self):
        clock = SetClock(NINE)
        self.log = MemoryLog("small", clock)
        self.park = Park("small", self.log, clock)
        for command in opening():
            self.do(command)

    async def send(self, command):
        caller = Caller(device="till", roles=frozenset(get_args(Role)))
        asked = Asked(id=uuid4(), digest=b"", caller=caller, contact=Contact(received_at=NINE))
        return await self.park.execute(HANDLERS[type(command)], command, asked)

    def do(self, command):
        return asyncio.run(self.send(command))

    def at_the_same_time(self, first, second):
        """The first gets in between what the second has read and what it writes."""
        self.log.meanwhile = lambda: self.send(first)
        self.do(second)

    def state(self, fold, subject):
        given, _ = asyncio.run(self.park.load(lambda _: {(fold, subject)}))
        return given.of(fold, subject)


@pytest.fixture
def desk():
    return Desk()


def test_one_payment_does_not_cover_the_players_of_two_tills(desk):
    with pytest.raises(AlreadyRecorded, match="payment till-7 is already recorded"):
        desk.at_the_same_time(payment("till-7", "p2"), payment("till-7", "p3"))
    assert desk.state(PAYMENT, "till-7").players == ("p2",)
    assert [name for name in ("p2", "p3") if "till-7" in desk.state(PURSE, name).entries] == ["p2"]


def test_one_caution_is_not_about_two_players(desk):
    def caution(player):
        return Caution(caution="c7", player=player, violation="wiping")

    with pytest.raises(AlreadyRecorded, match="caution c7 is already recorded"):
        desk.at_the_same_time(caution("p2"), caution("p3"))
    assert desk.state(SLIP, "c7").player == "p2"
    assert [name for name in ("p2", "p3") if desk.state(RECORD, name).entries] == ["p2"]


def test_a_fact_under_a_name_of_its_own_waits_for_nobody(desk):
    desk.at_the_same_time(payment("till-7", "p2"), payment("till-8", "p2"))
    assert {"till-7", "till-8"} <= desk.state(PURSE, "p2").entries.keys()
