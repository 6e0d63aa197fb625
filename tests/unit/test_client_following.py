"""Reading along: frames in whatever pieces they come, resumed where they were cut."""

from contextlib import suppress

import anyio
import httpx
import msgspec
import pytest
import stamina
from hypothesis import given
from hypothesis import strategies as st

from contracts.client import AsyncPark, Park, Restored
from contracts.client.following import Frame, Frames
from contracts.games import PlayerOut
from contracts.problems import NotAuthenticated


def event(position, epoch=1):
    return msgspec.json.encode(
        {
            "park": "larchmoor",
            "epoch": epoch,
            "position": position,
            "recorded_at": "2026-05-09T12:00:00Z",
            "leaf_sha256": "0" * 64,
            "type": "games.player_out",
            "version": 1,
            "id": "017f22e2-79b0-7cc3-98c4-dc0c0c07398f",
            "day": "2026-05-09",
            "occurred_at": "2026-05-09T12:00:00Z",
            "claimed_at": None,
            "clock": "server",
            "device": "gate-1",
            "device_seq": 1,
            "actor": None,
            "tags": ["player:p1"],
            "data": {"player": "p1", "field": "birch", "game": None, "cause": "eliminated"},
        }
    )


def framed(position, epoch=1):
    return b"id: %d:%d\ndata: %s\n\n" % (epoch, position, event(position, epoch))


def whole(text):
    return list(Frames().read(text))


def test_the_examples_of_the_specification():
    """WHATWG HTML, 9.2.6 "Interpreting an event stream": its three worked examples, written down from memory."""
    assert whole(b"data: YHOO\ndata: +2\ndata: 10\n\n") == [Frame("message", "", "YHOO\n+2\n10")]
    assert whole(b": test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\ndata:  third event\n\n") == [
        Frame("message", "1", "first event"),
        Frame("message", "", "second event"),
        Frame("message", "", " third event"),
    ]
    assert whole(b"data\n\ndata\ndata\n\ndata:") == [Frame("message", "", ""), Frame("message", "", "\n")]
    assert whole(b"data:test\n\ndata: test\n\n") == [Frame("message", "", "test")] * 2


@given(st.lists(st.integers(1, 40)), st.sampled_from([b"\n", b"\r\n", b"\r"]))
def test_however_the_bytes_come_in_pieces_the_frames_are_the_same(sizes, ending):
    text = b"\xef\xbb\xbfevent: beat\nid: 1:7\ndata: {}\n\n: quiet\n\ndata: a\ndata: \xc3\xa4\n\n".replace(
        b"\n", ending
    )
    frames, found = Frames(), []
    for size in sizes:
        found += frames.read(text[:size])
        text = text[size:]
    found += frames.read(text + ending)
    assert found == [Frame("beat", "1:7", "{}"), Frame("message", "1:7", "a\nä")]


class Stream:
    """Each connection tells some bytes and is cut; the last one opens nothing."""

    def __init__(self, *connections):
        self.connections = list(connections)
        self.asked = []

    def handle(self, request):
        self.asked.append(request.headers.get("last-event-id") or request.url.params.get("after"))
        if not self.connections:
            return httpx.Response(
                401, json={"type": "/problems/not-authenticated", "title": "", "status": 401, "detail": "d"}
            )
        return httpx.Response(200, stream=_Cut(self.connections.pop(0)))


class _Cut(httpx.SyncByteStream, httpx.AsyncByteStream):
    def __init__(self, told):
        self._told = told

    def __iter__(self):
        yield from (self._told[start : start + 97] for start in range(0, len(self._told), 97))
        raise httpx.ReadError("cut by the test")

    async def __aiter__(self):
        for piece in self:
            yield piece


RESTORED = b'event: epoch\nid: 2:2\ndata: {"epoch":2,"was":"1:3","common":2,"lost":1}\n\n'
TOLD = (framed(1) + framed(2) + framed(3)[:-9], framed(3), RESTORED + framed(3, epoch=2))


def followed(stream):
    """What a reader is told until his key opens nothing."""
    http = httpx.Client(base_url="http://park", transport=httpx.MockTransport(stream.handle))
    found = []
    with stamina.set_testing(True, attempts=1), suppress(NotAuthenticated):
        for one in Park("http://park", "larchmoor", "office.secret", http=http).events("1:0"):
            found.append(one)  # noqa: PERF402 - what was told before it was raised is kept
    return found


def followed_over_asyncio(stream):
    async def follow():
        http = httpx.AsyncClient(base_url="http://park", transport=httpx.MockTransport(stream.handle))
        found = []
        with suppress(NotAuthenticated):
            async for one in AsyncPark("http://park", "larchmoor", "office.secret", http=http).events("1:0"):
                found.append(one)  # noqa: PERF401
        return found

    with stamina.set_testing(True, attempts=1):
        return anyio.run(follow)


@pytest.mark.parametrize("follow", [followed, followed_over_asyncio])
def test_a_reader_goes_on_where_he_was_cut_off_and_hears_of_a_restore(follow):
    stream = Stream(*TOLD)
    found = follow(stream)
    assert [one if isinstance(one, Restored) else (one.epoch, one.position) for one in found] == [
        (1, 1),
        (1, 2),
        (1, 3),
        Restored(epoch=2, was="1:3", common=2, lost=1),
        (2, 3),
    ]
    assert stream.asked == ["1:0", "1:2", "1:3", "2:3"]
    assert found[0].told == PlayerOut(player="p1", field="birch", game=None, cause="eliminated")


@pytest.mark.parametrize("follow", [followed, followed_over_asyncio])
@pytest.mark.parametrize("torn", [b"no event", b"[" * 100_000, b'{"position":"two"}'])
def test_an_event_that_cannot_be_read_is_asked_for_again_and_not_passed_over(follow, torn):
    stream = Stream(framed(1) + b"id: 1:2\ndata: " + torn + b"\n\n" + framed(3), framed(2))
    assert [one.position for one in follow(stream)] == [1, 2]
    assert stream.asked == ["1:0", "1:1", "1:2"]
