"""The bell that wakes whoever waits for something new about a chronograph."""

import asyncio
from types import SimpleNamespace

import pytest

from services.core.bell import Bell


def change(position, *tags):
    return SimpleNamespace(events=[SimpleNamespace(position=position, tags=tags)])


async def waiting(bell, tags, after=7):
    with bell.listening(tags, after) as rung:
        await rung.wait()


@pytest.mark.anyio
async def test_a_thousand_readers_that_hang_up_leave_nothing_behind():
    bell = Bell()
    readers = [asyncio.create_task(waiting(bell, ["chrono:bench-1", f"marker:m{number}"])) for number in range(1000)]
    await asyncio.sleep(0)
    assert len(bell._waiting) == 1001
    for reader in readers[1:]:
        reader.cancel()
    await asyncio.gather(*readers[1:], return_exceptions=True)
    assert set(bell._waiting) == {"chrono:bench-1", "marker:m0"}
    bell.hear(change(8, "chrono:bench-1"))
    await asyncio.wait_for(readers[0], 1)
    assert bell._waiting == {}


@pytest.mark.anyio
@pytest.mark.parametrize("heard", [change(7, "chrono:bench-1"), change(8, "chrono:bench-2")])
async def test_what_is_at_hand_or_concerns_another_wakes_nobody(heard):
    bell = Bell()
    with bell.listening(["chrono:bench-1"], 7) as rung:
        bell.hear(heard)
        assert not rung.is_set()


@pytest.mark.anyio
async def test_a_bell_that_is_closed_wakes_everybody_and_lets_nobody_wait_again():
    bell = Bell()
    reader = asyncio.create_task(waiting(bell, ["chrono:bench-1"]))
    await asyncio.sleep(0)
    bell.close()
    await asyncio.wait_for(reader, 1)
    await asyncio.wait_for(waiting(bell, ["chrono:bench-2"]), 1)
