"""Admission against ejection: whatever the order in which they reach the database, nobody is admitted after he was ejected."""

import asyncio
from contextlib import AsyncExitStack
from itertools import cycle

import pytest

from services.core.log import Conflict
from tests.integration.log_park import append, draft, nothing_newer, opened

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(300)]

PLAYERS = 3000
WORKERS = 16
CAUTIONED = "toy.cautioned"
ADMITTED = "toy.admitted"


@pytest.fixture
def anyio_backend():
    return "asyncio"


async def test_64_tasks_race_3000_times_to_admit_and_to_caution_a_player_and_none_is_admitted_after_his_ejection(
    database,
):
    async with AsyncExitStack() as stack:
        logs = [await stack.enter_async_context(opened(database.url)) for _ in range(4)]
        players = iter(range(PLAYERS))
        outcomes = [outcome for worker in await _together(_worker(logs, players)) for outcome in worker]
        rows = await logs[0].tail(0, 100_000)
    assert set(outcomes) == {"admitted", "conflict", "ejected before"}, "not a race"
    assert len(outcomes) == 2 * PLAYERS
    assert _admitted_after_ejection(rows) == []


async def _together(worker):
    return await asyncio.gather(*(worker() for _ in range(WORKERS)))


def _worker(logs, players):
    """Four tasks race for each player, each through a log, and so a connection, of its own."""
    turns = cycle(range(len(logs)))

    async def work():
        outcomes = []
        for player in players:
            tag = f"player:{player}"
            turn = next(turns)
            first, second, third, fourth = logs[turn:] + logs[:turn]
            answers = await asyncio.gather(
                _admit(first, tag), _caution(second, tag), _admit(third, tag), _caution(fourth, tag)
            )
            outcomes += answers[::2]
        return outcomes

    return work


async def _admit(log, tag):
    reading = await log.read({tag: 0})
    if _cautions(reading.events[tag]) >= 2:
        return "ejected before"
    condition = nothing_newer(tag, reading.head.position, CAUTIONED)
    try:
        await log.append(append(draft(tag, type=ADMITTED, body=_body(ADMITTED, tag)), conditions=[condition]))
    except Conflict:
        return "conflict"
    return "admitted"


async def _caution(log, tag):
    await log.append(append(draft(tag, type=CAUTIONED, body=_body(CAUTIONED, tag))))


def _body(type_, tag):
    return f"{type_} {tag}".encode()


def _cautions(rows):
    return sum(CAUTIONED.encode() in row.leaf for row in rows)


def _admitted_after_ejection(rows):
    """Two cautions eject. The players of whom an admission lies behind their second caution."""
    cautions: dict[str, int] = {}
    wrong = []
    for row in rows:
        type_, tag = row.leaf.decode().rpartition("\n")[2].split(" ")
        if type_ == CAUTIONED:
            cautions[tag] = cautions.get(tag, 0) + 1
        elif cautions.get(tag, 0) >= 2:
            wrong.append(tag)
    return wrong
