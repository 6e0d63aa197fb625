"""Reading along: nothing is left out or told twice at any cut, a restore is told plainly, and whoever is slow or gone costs nobody anything."""

import asyncio
import itertools
from contextlib import aclosing, asynccontextmanager

import msgspec
import pytest

from contracts.problems import PositionAhead
from services.reading import followers, following, shelf, tail
from services.reading.followers import Follower
from services.reading.following import lines, stream
from services.reading.places import Place
from services.reading.tail import Tail
from services.reading.wanted import EVERYTHING, Wanted
from tests.unit.reading_log import ReadingLog

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(30)]


@pytest.fixture
def anyio_backend():
    return "asyncio"


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    monkeypatch.setattr(tail, "PACE", 0.01)
    monkeypatch.setattr(tail, "LASTS", 0.02)
    monkeypatch.setattr(followers, "EVERY", 0.01)
    monkeypatch.setattr(following, "PACE", 0.01)
    monkeypatch.setattr(shelf, "_REST", 0.0)


@asynccontextmanager
async def at_work(log):
    made = Tail(log, log)
    running = [asyncio.create_task(one.run()) for one in (made, made.followers)]
    try:
        yield made
    finally:
        for one in running:
            one.cancel()


def parsed(frames):
    """What came, a dict of each frame's fields."""
    found = []
    for one in b"".join(frames).decode().split("\n\n"):
        fields = dict(part.split(": ", 1) for part in one.splitlines() if not part.startswith(":"))
        if "data" in fields:
            found.append(fields)
    return found


async def told(following_tail, place, count, wanted=EVERYTHING, key=b"k"):
    """The first `count` events of a stream, with whatever was told of epochs between them."""
    frames = []
    async with aclosing(stream(following_tail, Follower("office", key), place, wanted, squeeze=False)) as reader:
        async for frame in reader:
            frames.append(frame)
            found = [one for one in parsed(frames) if one.get("event") != "beat"]
            if len(found) >= count:
                return found[:count]
    return found


def ids(found):
    return [one["id"] for one in found]


async def answer(following_tail, place, wanted=EVERYTHING, limit=1000):
    content = b"".join([piece async for piece in lines(following_tail, Follower("office", b"k"), place, wanted, limit)])
    *events, end = [msgspec.json.decode(one) for one in content.splitlines()]
    assert end.pop("end") is True
    return [one["position"] for one in events], end


@pytest.mark.parametrize("cut", range(0, 41, 8))
async def test_a_reader_who_comes_back_at_any_cut_gets_the_rest_once_and_in_order(cut):
    log = ReadingLog()
    log.grow(40)
    async with at_work(log) as follow:
        found = await told(follow, Place(1, cut), 40 - cut) if cut < 40 else []
        log.grow(5)
        follow.hear(None)
        assert ids(found) == [f"1:{position}" for position in range(cut + 1, 41)]
        assert ids(await told(follow, Place(1, 40), 5)) == [f"1:{position}" for position in range(41, 46)]


async def test_lines_end_with_how_far_was_read_and_go_on_from_there():
    log = ReadingLog()
    log.grow(600)
    place, seen = Place(1, 0), []
    async with at_work(log) as follow:
        for _ in itertools.count():
            found, end = await answer(follow, place, limit=77)
            seen += found
            place = Place(end["epoch"], end["position"])
            if not end["more"]:
                break
    assert seen == list(range(1, 601))
    assert place == Place(1, 600)


async def test_what_is_not_wanted_is_passed_over_and_counts_as_read():
    log = ReadingLog()
    log.grow(600)
    async with at_work(log) as follow:
        found, end = await answer(follow, Place(1, 0), Wanted(tags=frozenset({"person:person-4"})))
    assert found == [4]
    assert end == {"epoch": 1, "position": 600, "more": False}


async def test_an_answer_looks_through_a_bounded_part_of_the_log(monkeypatch):
    monkeypatch.setattr(following, "LOOKED_THROUGH", 2)
    log = ReadingLog()
    log.grow(600)
    async with at_work(log) as follow:
        found, end = await answer(follow, Place(1, 0), Wanted(tags=frozenset({"person:nobody"})))
    assert (found, end) == ([], {"epoch": 1, "position": 512, "more": True})


async def test_a_restore_is_told_with_the_last_place_that_both_lives_share():
    log = ReadingLog()
    log.grow(30)
    async with (
        at_work(log) as follow,
        aclosing(stream(follow, Follower("office", b"k"), Place(1, 20), EVERYTHING, squeeze=False)) as reader,
    ):
        frames = []
        async for frame in reader:
            frames.append(frame)
            found = [one for one in parsed(frames) if one.get("event") != "beat"]
            if len(found) == 10 and log.epoch == 1:
                log.bring_back(25)
                follow.hear(None)
            if len(found) == 12:
                break
    epoch = found[10]
    assert epoch["event"] == "epoch"
    assert msgspec.json.decode(epoch["data"]) == {"epoch": 2, "was": "1:30", "common": 25, "lost": 5}
    assert epoch["id"] == "2:25"
    assert found[11]["id"] == "2:26"


async def test_who_comes_back_after_a_restore_is_told_it_once_and_goes_on_from_there():
    log = ReadingLog()
    log.grow(30)
    log.bring_back(25)
    async with at_work(log) as follow:
        first, *rest = await told(follow, Place(1, 28), 2)
        assert msgspec.json.decode(first["data"])["common"] == 25
        assert ids(rest) == ["2:26"]
        first, *rest = await told(follow, Place(1, 22), 5)
        assert msgspec.json.decode(first["data"]) == {"epoch": 2, "was": "1:22", "common": 22, "lost": 0}
        assert ids(rest) == ["1:23", "1:24", "1:25", "2:26"]


@pytest.mark.parametrize("place", [Place(1, 31), Place(2, 1)])
async def test_a_place_that_no_life_of_the_log_had_is_refused(place):
    log = ReadingLog()
    log.grow(30)
    with pytest.raises(PositionAhead):
        await Tail(log, log).places.common(place, "after")


async def test_five_hundred_readers_cost_the_log_as_many_reads_as_one():
    log = ReadingLog()
    log.grow(10)
    async with at_work(log) as follow:
        readers = [asyncio.create_task(told(follow, Place(1, 10), 30)) for _ in range(500)]
        await asyncio.sleep(0.1)
        before = log.reads
        log.grow(30)
        follow.hear(None)
        assert all(ids(found)[-1] == "1:40" for found in await asyncio.gather(*readers))
        assert log.reads - before < 50


async def test_readers_at_the_same_old_place_share_its_page():
    log = ReadingLog()
    log.grow(600)
    async with at_work(log) as follow:
        await asyncio.gather(*(answer(follow, Place(1, 0), limit=200) for _ in range(100)))
    assert log.reads < 5


async def test_who_never_reads_holds_no_connection_and_makes_nothing_grow(monkeypatch):
    monkeypatch.setattr(tail, "RING", 20_000)
    log = ReadingLog()
    async with at_work(log) as follow:
        dead = stream(follow, Follower("office", b"k"), Place(1, 0), EVERYTHING, squeeze=False)
        await anext(dead)
        stuck = asyncio.create_task(anext(dead))
        await asyncio.sleep(0.05)
        log.grow(1)
        await stuck  # it was handed something, and asks for no more
        for _ in range(20):
            log.grow(100)
            follow.hear(None)
            await asyncio.sleep(0.03)
        assert follow.position == len(log.rows)
        assert follow._size <= 20_000 + max(page.size for page in follow._ring)
        assert log.lent == 0
        rest = await told(follow, Place(1, 1), 2000)  # whoever fell out of the ring reads the log
        assert ids(rest) == [f"1:{position}" for position in range(2, 2002)]
        await dead.aclose()


async def test_who_goes_in_the_middle_of_a_page_breaks_nothing_off():
    log = ReadingLog()
    log.grow(600)
    async with at_work(log) as follow:
        going, staying = (asyncio.create_task(answer(follow, Place(1, 0))) for _ in range(2))
        await asyncio.sleep(0)
        going.cancel()
        found, _ = await staying
    assert found == list(range(1, 601))


@pytest.mark.parametrize("change", [{}, {"office": b"another"}])
async def test_a_stream_ends_with_its_key_and_a_new_one_goes_on(change):
    log = ReadingLog()
    log.grow(3)
    async with at_work(log) as follow:
        reading = asyncio.create_task(told(follow, Place(1, 0), 99))
        await asyncio.sleep(0.1)
        log.keys = change
        found = await asyncio.wait_for(reading, 2)
        assert ids(found) == ["1:1", "1:2", "1:3"]
        log.keys = {"office": b"another"}
        assert ids(await told(follow, Place(1, 0), 3, key=b"another")) == ["1:1", "1:2", "1:3"]


@pytest.fixture
def seldom(monkeypatch):
    """As with a crowd of readers: the log is looked at so seldom that nobody hears of a key from there."""
    for name in ("PACE", "SLOWEST", "LASTS"):
        monkeypatch.setattr(tail, name, 20.0)


async def begun(reading, before):
    """A reader that has been told something, and how much of it are events."""
    async for frame in reading:
        if b"leaf_sha256" in frame:
            return before + frame.count(b"leaf_sha256")
    return before


@pytest.mark.usefixtures("seldom")
async def test_an_idle_stream_ends_with_its_key_though_nothing_is_recorded():
    log = ReadingLog()
    log.grow(3)
    async with at_work(log) as follow:
        reading = asyncio.create_task(told(follow, Place(1, 3), 99))
        await asyncio.sleep(0.1)
        log.keys = {}
        assert await asyncio.wait_for(reading, 1) == []


@pytest.mark.usefixtures("seldom")
@pytest.mark.parametrize("what", ["stream", "lines"])
async def test_who_lags_behind_is_told_nothing_more_once_his_key_is_revoked(what):
    """He is at old pages, and would be for long; an answer of lines is cut off without its end, so that nobody takes it for whole."""
    log = ReadingLog()
    log.grow(2000)
    async with at_work(log) as follow:
        reader = Follower("office", b"k")
        reading = (
            stream(follow, reader, Place(1, 0), EVERYTHING, squeeze=False)
            if what == "stream"
            else lines(follow, reader, Place(1, 0), EVERYTHING, 10_000)
        )
        assert 0 < await begun(reading, 0) < 2000
        log.keys = {}
        await asyncio.sleep(0.1)
        assert b"".join([piece async for piece in reading]) == b""


async def test_nobody_is_told_anything_while_nobody_can_say_whether_his_key_is_good(monkeypatch):
    monkeypatch.setattr(followers, "HOLDS", 0.1)
    monkeypatch.setattr(followers, "KEPT_SECONDS", 0.05)
    log = ReadingLog()
    log.grow(1)
    async with at_work(log) as follow:
        reading = asyncio.create_task(told(follow, Place(1, 0), 2))
        await asyncio.sleep(0.1)
        log.keys_away = True
        await asyncio.sleep(0.15)
        log.grow(1)
        await asyncio.sleep(0.15)
        assert follow.position == 2
        assert not reading.done()
        log.keys_away = False
        assert ids(await asyncio.wait_for(reading, 2)) == ["1:1", "1:2"]


async def test_who_waits_long_for_a_connection_knows_what_he_reads_over_it(monkeypatch):
    """A busy park lends one late, and a look is as old as its question, not as the wait before it."""
    monkeypatch.setattr(followers, "HOLDS", 0.2)
    monkeypatch.setattr(followers, "KEPT_SECONDS", 0.2)
    log = ReadingLog()
    log.grow(1)
    lend = log.connection

    @asynccontextmanager
    async def late():
        await asyncio.sleep(0.25)
        async with lend() as connection:
            yield connection

    monkeypatch.setattr(log, "connection", late)
    async with at_work(log) as follow:
        assert ids(await asyncio.wait_for(told(follow, Place(1, 0), 1), 3)) == ["1:1"]


async def test_there_is_no_beat_while_the_log_cannot_be_read_and_one_again_after(monkeypatch):
    monkeypatch.setattr(following, "BEAT", 0.02)
    monkeypatch.setattr(tail, "FRESH", 0.05)
    log = ReadingLog()
    log.grow(3)
    async with at_work(log) as follow:
        frames = []
        async with aclosing(stream(follow, Follower("office", b"k"), Place(1, 3), EVERYTHING, squeeze=False)) as reader:
            async for frame in reader:
                frames.append(frame)
                if b"event: beat" in frame and not log.away and len(frames) < 5:
                    log.away = True
                elif frame.startswith(b": the record cannot be read") and log.away:
                    log.away = False
                    log.grow(1)
                elif frame.startswith(b"id: 1:4"):
                    break
    kinds = [frame.partition(b"\n")[0] for frame in frames]
    assert kinds.index(b"event: beat") < kinds.index(b": the record cannot be read") < kinds.index(b"id: 1:4")


async def test_nothing_is_read_while_nobody_follows():
    log = ReadingLog()
    log.grow(3)
    async with at_work(log):
        await asyncio.sleep(0.1)
        assert log.reads == 0
