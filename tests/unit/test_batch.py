"""A batch without a server: its lines however they are cut, what is read in them, and that a fact in a batch comes to what it comes to alone."""

import asyncio
from itertools import pairwise
from uuid import UUID

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from contracts.batch import LONGEST_LINE, Line
from contracts.problems import BodyTooLarge, Broken, InvalidBody, MalformedBody, NotFound, NotOffline, Refused
from contracts.velocity import CheckChrono
from services.core.clock import SetClock
from services.core.in_order import InOrder, Told
from services.core.lines import Cut, Lines, named, read
from services.core.park import Answer, Asked, Caller, Park, digest_of
from services.core.sequence import holes
from services.core.set_aside import line_id
from services.core.times import Contact
from tests.unit.memory_log import MemoryLog
from tests.unit.scenario import NINE
from tests.unit.small_park import FACTS, HANDLERS, opening

BY_PATH = {"games/ask-hold": next(one for command, one in HANDLERS.items() if command.__name__ == "AskHold")}
ROLES = frozenset({"referee", "head_referee", "desk", "gear", "chrono", "staging", "manager", "first_aider"})
GOOD = b'{"key":"017f22e2-79b0-7cc3-98c4-dc0c0c07398f","seq":17,"command":"games/ask-hold","body":{"hold":"h","cause":"weather"}}'

# --- cutting


@given(
    content=st.lists(st.sampled_from([b"\n", b" ", b"a", b"\xff"]), max_size=60).map(b"".join),
    at=st.lists(st.integers(0, 60)),
)
def test_lines_are_the_same_however_their_bytes_come(content, at):
    """RFC 8259 allows no raw line feed in a string, so one ends a line wherever it stands (ndjson.org, from memory)."""
    whole, pieces = Lines(), Lines()
    bounds = sorted({0, *(one for one in at if one < len(content)), len(content)})
    cut = [line for first, last in pairwise(bounds) for line in pieces.feed(content[first:last])]
    assert cut == whole.feed(content)
    assert pieces.unended == whole.unended
    plain = content.split(b"\n")
    assert [(one.number, one.bytes) for one in cut] == [
        (number, one) for number, one in enumerate(plain[:-1], 1) if one.strip()
    ]


def test_a_line_of_the_greatest_length_is_whole_and_one_byte_more_is_not():
    (whole,) = Lines().feed(b"x" * LONGEST_LINE + b"\n")
    assert whole.whole
    longer = Lines()
    assert longer.feed(b"x" * LONGEST_LINE) == []
    first, then = longer.feed(b"x\nnext\n")
    assert (first.number, first.whole, len(first.bytes)) == (1, False, 200)
    assert then == Cut(2, b"next")


def test_of_an_endless_line_no_more_is_kept_than_tells_that_it_is_too_long():
    endless = Lines()
    for _ in range(50):
        assert endless.feed(b"x" * 100_000) == []
    assert endless.unended == Cut(1, b"x" * 200, whole=False)


# --- reading


def test_a_line_names_its_command_and_keeps_the_bytes_of_its_body():
    line, handler, command = read(Cut(1, GOOD.replace(b'{"hold"', b'{ "hold"')), BY_PATH)
    assert (line.seq, handler.command.__name__, command.hold) == (17, "AskHold", "h")
    assert bytes(line.body).startswith(b'{ "hold"')


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        (b"{", MalformedBody),
        (b"\xff", MalformedBody),
        (b"[" * 100_000, InvalidBody),
        (b'{"seq":17,"body":' + b"[" * 100_000, MalformedBody),
        (b"null", InvalidBody),
        (GOOD.replace(b'"seq":17,', b""), InvalidBody),
        (GOOD.replace(b":17", b":-1"), InvalidBody),
        (GOOD.replace(b"017f22e2-", b"017f22e2"), InvalidBody),
        (GOOD.replace(b'"seq"', b'"sky":1,"seq"'), InvalidBody),
        (GOOD.replace(b"weather", b"boredom"), InvalidBody),
        (GOOD.replace(b"ask-hold", b"start-game"), NotOffline),
        (GOOD.replace(b"games/ask-hold", b"vault/keep-detail"), NotOffline),
        (GOOD.replace(b"ask-hold", b"ask-sky"), NotFound),
        (GOOD + GOOD, MalformedBody),
    ],
)
def test_what_is_wrong_with_a_line_has_its_problem(line, problem):
    with pytest.raises(problem):
        read(Cut(1, line), BY_PATH)


def test_a_line_that_is_too_long_has_its_problem():
    with pytest.raises(BodyTooLarge):
        read(Cut(1, GOOD, whole=False), BY_PATH)


def test_key_and_number_are_told_of_a_line_that_does_not_fit_as_far_as_they_can_be():
    uuid = UUID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
    assert named(Cut(1, GOOD.replace(b"games/", b""))) == (uuid, 17)
    assert named(Cut(1, GOOD.replace(b":17", b':"17"'))) == (uuid, None)
    assert named(Cut(1, b"{garbled")) == (None, None)
    assert named(Cut(1, b'{"seq":17,"body":' + b"[" * 100_000)) == (None, None)
    assert msgspec.json.decode(GOOD, type=Line).key == uuid


def test_the_same_bytes_of_another_device_are_another_line():
    assert line_id("gate-1", GOOD) == line_id("gate-1", GOOD)
    assert len({line_id("gate-1", GOOD), line_id("gate-2", GOOD), line_id("gate-1", GOOD + b" ")}) == 3


# --- numbers


@pytest.mark.parametrize(
    ("accounted", "missing"),
    [
        ((), ()),
        (((1, 9),), ()),
        (((0, 9),), ()),
        (((3, 3),), ((1, 2),)),
        (((1, 3), (5, 6), (9, 9)), ((4, 4), (7, 8))),
    ],
)
def test_holes_are_what_is_missing_from_one_to_the_greatest(accounted, missing):
    assert holes(accounted) == missing


@given(st.sets(st.integers(1, 40)))
def test_holes_and_what_is_there_make_all_numbers_up_to_the_greatest(numbers):
    accounted = tuple((one, one) for one in sorted(numbers))
    missing = {number for first, last in holes(accounted) for number in range(first, last + 1)}
    assert missing | numbers == set(range(1, max(numbers, default=0) + 1))
    assert not missing & numbers


# --- together and alone


class _Station:
    def __init__(self):
        self.clock = SetClock(NINE)
        self.log = MemoryLog("small", self.clock)
        self.park = Park("small", self.log, self.clock)

    async def open(self):
        for number, command in enumerate(opening(), 1):
            await self.park.execute(HANDLERS[type(command)], command, self.asked(command, 10_000 + number))

    def asked(self, command, number):
        body = msgspec.json.encode(command)
        return Asked(
            id=UUID(int=number),
            digest=digest_of(type(command).__name__, body),
            caller=Caller(device="d", roles=ROLES),
            contact=Contact(received_at=self.clock.now(), device_seq=number),
        )

    def told(self, command, number):
        return Told(HANDLERS[type(command)], command, self.asked(command, number))

    async def alone(self, command, number):
        try:
            return await self.park.execute(HANDLERS[type(command)], command, self.asked(command, number))
        except Refused as refused:
            return refused


def plainly(verdicts):
    return [
        [(event.type, event.id, event.position, event.data) for event in one.receipt.events]
        if isinstance(one, Answer)
        else (type(one), one.detail)
        for one in verdicts
    ]


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(facts=st.lists(FACTS, min_size=1, max_size=40), again=st.integers(0, 39))
def test_facts_come_to_the_same_in_a_batch_as_one_after_another_alone(facts, again):
    """Also those that rest on one another, and where some had been recorded before and come again."""

    async def both():
        together, singly = _Station(), _Station()
        await together.open()
        await singly.open()
        for number, fact in list(enumerate(facts, 1))[:again:3]:
            assert plainly([await together.alone(fact, number)]) == plainly([await singly.alone(fact, number)])
        in_order = InOrder(together.park)
        batch = await in_order.execute([together.told(fact, number) for number, fact in enumerate(facts, 1)])
        alone = [await singly.alone(fact, number) for number, fact in enumerate(facts, 1)]
        assert plainly(batch) == plainly(alone)
        assert together.log.rows == singly.log.rows

    asyncio.run(both())


def test_of_two_facts_of_the_same_moment_the_line_before_counts_as_earlier():
    """Words after a check that its own figures closed reopen no chronograph, though both bear one time."""

    async def signals():
        station = _Station()
        await station.open()
        facts = [CheckChrono(chrono="k2", good=False, bias_fps=-3.0), CheckChrono(chrono="k2", good=False)]
        told = [station.told(fact, number) for number, fact in enumerate(facts, 1)]
        return [one.receipt.events[0].data.signals for one in await InOrder(station.park).execute(told)]

    assert asyncio.run(signals())[1] == ("person", "too_few")


@pytest.mark.parametrize("where", ["reads", "decide"])
def test_a_line_that_breaks_the_program_holds_up_none_behind_it(where):
    def breaks(*_):
        raise KeyError("k2")

    async def verdicts():
        station = _Station()
        await station.open()
        before, broken, behind = (station.told(CheckChrono(chrono="k2", good=True), number) for number in (1, 2, 3))
        return await InOrder(station.park).execute(
            [before, replace(broken, handler=replace(broken.handler, **{where: breaks})), behind]
        )

    assert [type(one) for one in asyncio.run(verdicts())] == [Answer, Broken, Answer]
