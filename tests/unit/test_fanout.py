"""The fan-out: patches that add up, ids that resume, and readers that hold nobody up."""

import asyncio
from datetime import UTC, date, datetime
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contracts.board import Players, Status
from services.board import fanout
from services.board.fanout import BUFFERED, Channel
from services.board.merge import difference
from tests.unit.merged import merged

RFC_7396 = [
    ({"a": "b"}, {"a": "c"}, {"a": "c"}),
    ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
    ({"a": "b"}, {"a": None}, {}),
    ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
    ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
    ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
    ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
    ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
    (["a", "b"], ["c", "d"], ["c", "d"]),
    ({"a": "b"}, ["c"], ["c"]),
    ({"a": "foo"}, "bar", "bar"),
    ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
    ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
]
"""RFC 7396, appendix A: document, patch, result. From memory."""
VALUES = st.recursive(
    st.booleans() | st.integers() | st.text(max_size=3) | st.lists(st.integers(), max_size=2),
    lambda inner: st.dictionaries(st.sampled_from("abc"), inner, max_size=3),
    max_leaves=12,
)
DOCUMENTS = st.dictionaries(st.sampled_from("abcd"), VALUES, max_size=4)


@pytest.mark.parametrize(("document", "patch", "result"), RFC_7396)
def test_a_merge_patch_is_applied_as_the_standard_says(document, patch, result):
    assert merged(document, patch) == result


@given(DOCUMENTS, DOCUMENTS)
def test_the_difference_of_two_documents_makes_one_of_the_other(before, after):
    assert merged(before, difference(before, after)) == after


@given(DOCUMENTS)
def test_equal_documents_differ_in_nothing(document):
    assert difference(document, document) == {}


def status(position: int, cleared: int = 0, second: int = 0) -> Status:
    counts = dict.fromkeys(Players.__struct_fields__, 0) | {"cleared": cleared, "reasons": {}}
    return Status(
        park="larchmoor",
        day=date(2026, 5, 9),
        opened=True,
        time_zone="Etc/UTC",
        as_of=datetime(2026, 5, 9, 9, 0, second, tzinfo=UTC),
        epoch=1,
        position=position,
        fields={},
        stations={},
        players=Players(**counts),
        alerts=(),
    )


def parsed(frame: bytes) -> tuple[str, str | None, Any]:
    """Event, id and data of one frame."""
    lines = dict(line.split(": ", 1) for line in frame.decode().strip().splitlines())
    return lines.get("event", ""), lines.get("id"), msgspec.json.decode(lines["data"]) if "data" in lines else None


def beat() -> bytes:
    return b"event: beat\ndata: {}\n\n"


def followed(frames: list[bytes], document: Any = None) -> Any:
    """The document that a reader has after these frames."""
    for frame in frames:
        event, _, data = parsed(frame)
        document = data if event == "snapshot" else merged(document, data) if event == "patch" else document
    return document


def test_who_comes_anew_gets_the_whole_status():
    channel = Channel()
    channel.publish(status(7, cleared=3))
    frames, last = channel.since(None)
    ((event, name, data),) = map(parsed, frames)
    assert (event, name) == ("snapshot", last)
    assert data["players"]["cleared"] == 3
    assert last.startswith("1:7:")


def test_who_was_there_gets_only_what_came_after():
    channel = Channel()
    channel.publish(status(7))
    frames, last = channel.since(None)
    before = followed(frames)
    for position in (8, 9):
        channel.publish(status(position, cleared=position))
    frames, newest = channel.since(last)
    assert [parsed(frame)[0] for frame in frames] == ["patch", "patch"]
    assert parsed(frames[-1])[1] == newest
    assert followed(frames, before) == msgspec.json.decode(msgspec.json.encode(status(9, cleared=9)))
    assert channel.since(newest) == ([], newest)


def test_who_is_too_far_behind_gets_the_whole_status_again():
    channel = Channel()
    channel.publish(status(0))
    _, last = channel.since(None)
    for position in range(1, BUFFERED):
        channel.publish(status(position))
    assert len(channel.since(last)[0]) == BUFFERED - 1
    channel.publish(status(BUFFERED))
    (frame,) = channel.since(last)[0]
    assert parsed(frame)[0] == "snapshot"


@pytest.mark.parametrize("last", ["", "1:7:1", "9:9:9", "nonsense", "\x00"])
def test_an_id_that_is_none_of_ours_gets_the_whole_status(last):
    channel = Channel()
    channel.publish(status(7))
    ((event, *_),) = map(parsed, channel.since(last)[0])
    assert event == "snapshot"


def test_an_id_of_a_process_before_this_one_names_no_status_of_this_one():
    before = Channel()
    before.publish(status(7))
    _, last = before.since(None)
    after = Channel()
    after._number += 1_000
    after.publish(status(7))
    assert parsed(after.since(last)[0][0])[0] == "snapshot"


def test_time_alone_is_no_news():
    channel = Channel()
    channel.publish(status(7))
    _, last = channel.since(None)
    channel.publish(status(7, second=5))
    assert channel.since(last) == ([], last)


async def _slow_and_quick():
    channel = Channel()
    channel.publish(status(0))
    slow, quick = channel.follow(None, beat), channel.follow(None, beat)
    for reader in (slow, quick):
        for _ in range(3):
            await anext(reader)
    got = []
    for position in range(1, 2 * BUFFERED):
        channel.publish(status(position))
        got.append(parsed(await anext(quick))[0])
    late = parsed(await anext(slow))
    for reader in (slow, quick):
        await reader.aclose()
    return channel, got, late


def test_a_slow_reader_gets_a_snapshot_and_holds_up_nobody():
    channel, got, (event, _, data) = asyncio.run(_slow_and_quick())
    assert got == ["patch"] * (2 * BUFFERED - 1)
    assert (event, data["position"]) == ("snapshot", 2 * BUFFERED - 1)
    assert channel.readers == 0


async def _first_frames(channel):
    reader = channel.follow(None, beat)
    frames = [await anext(reader) for _ in range(4)]
    await reader.aclose()
    return frames


def test_a_reader_is_told_when_to_come_again_then_the_status_then_beats(monkeypatch):
    monkeypatch.setattr(fanout, "BEAT_SECONDS", 0.01)
    channel = Channel()
    channel.publish(status(7))
    hello, snapshot, *beats = asyncio.run(_first_frames(channel))
    assert hello == b"retry: 2000\n\n"
    assert parsed(snapshot)[0] == "snapshot"
    assert beats == [beat(), beat()]
