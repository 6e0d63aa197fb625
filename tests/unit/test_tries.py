"""Wrong keys are held up, longer and longer, and then refused at once; nobody else waits for it."""

import asyncio

import pytest

from contracts.problems import TooManyTries
from services.core import tries as module
from services.core.tries import MOST, SLOWEST, WINDOW, Tries

pytestmark = pytest.mark.anyio
HERE, THERE = ("address", "192.0.2.1"), ("address", "192.0.2.2")


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture
def waited(monkeypatch):
    """How long each answer was held up; nobody waits for it here."""
    found = []

    async def sleep(seconds):
        found.append(seconds)

    monkeypatch.setattr(module.asyncio, "sleep", sleep)
    return found


@pytest.fixture
def clock(monkeypatch):
    moments = [1000.0]
    monkeypatch.setattr(module.time, "monotonic", lambda: moments[0])
    return moments


async def test_each_wrong_one_is_held_up_longer_than_the_one_before_up_to_two_seconds(waited):
    tries = Tries()
    for _ in range(MOST):
        await tries.wrong(HERE)
    assert waited == sorted(waited)
    assert waited[0] < waited[1] < waited[2]
    assert waited[-1] == SLOWEST == 2.0
    assert sum(waited) > 9


@pytest.mark.usefixtures("waited")
async def test_the_eleventh_in_a_minute_is_refused_at_once_and_told_how_long_to_wait(clock):
    tries = Tries()
    for _ in range(MOST):
        await tries.wrong(HERE)
    clock[0] += 20
    with pytest.raises(TooManyTries) as refused:
        tries.must_not_wait(HERE)
    assert refused.value.extensions["retry_after"] in {40, 41}
    clock[0] += WINDOW - 19.9
    tries.must_not_wait(HERE)


@pytest.mark.usefixtures("waited", "clock")
async def test_others_do_not_wait_for_it():
    tries = Tries()
    for _ in range(MOST):
        await tries.wrong(HERE)
    tries.must_not_wait(THERE)


@pytest.mark.usefixtures("clock")
async def test_many_at_once_are_counted_before_they_are_answered(waited):
    tries = Tries()
    outcomes = await asyncio.gather(*(tries.wrong(HERE) for _ in range(30)), return_exceptions=True)
    assert sum(isinstance(one, TooManyTries) for one in outcomes) == 20
    assert len(waited) == MOST


@pytest.mark.usefixtures("waited")
async def test_made_up_names_fill_no_memory(clock):
    tries = Tries()
    for number in range(25_000):
        clock[0] += 0.001
        await tries.wrong(("device", str(number)))
    assert len(tries._wrong) <= 10_001
    assert ("device", "24999") in tries._wrong
