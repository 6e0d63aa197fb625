"""A device's queue on disk: whatever is cut, killed, restored or signed in between, nothing is lost, and all of it comes in its order."""

import sqlite3
from contextlib import suppress
from itertools import pairwise
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from uuid import UUID

import anyio
import httpx
import pytest
import stamina
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from msgspec.json import decode, encode

from contracts.client import AsyncPark, Park, Queue, Unreachable
from contracts.client.batch import MOST_BYTES, MOST_LINES
from contracts.games import RecordOut, StartGame
from contracts.problems import Contended
from tests.unit.client_park import DEVICE, KEY, PARK, Cut, InMemoryPark, Killed


@pytest.fixture(autouse=True)
def no_waiting():
    with stamina.set_testing(True, attempts=1):
        yield


@pytest.fixture
def there():
    return InMemoryPark()


@pytest.fixture
def queue(tmp_path):
    queue = Queue(tmp_path / "facts")
    yield queue
    queue.close()


def speaking(there):
    return Park(
        "http://park", PARK, KEY, http=httpx.Client(transport=httpx.MockTransport(there.handle), base_url="http://park")
    )


def out(number, kind="p"):
    return RecordOut(player=f"{kind}{number}", field="birch", cause="eliminated")


def test_facts_arrive_in_the_order_in_which_they_happened_numbered_without_a_hole(there, queue):
    keys = [queue.put(out(number)) for number in range(3 * MOST_LINES + 7)]
    speaking(there).send(queue)
    assert [UUID(key) for key, _ in there.log] == keys
    assert [seq for _, seq in there.log] == list(range(1, len(keys) + 1))
    assert queue.waiting == 0
    assert there.requests == 1 + 4, "one question for the epoch, then as few batches as they fit in"


def test_the_same_is_sent_over_asyncio(there, queue):
    async def sent():
        transport = httpx.MockTransport(there.handle_async)
        http = httpx.AsyncClient(transport=transport, base_url="http://park")
        async with AsyncPark("http://park", PARK, KEY, http=http) as park:
            await park.send(queue)

    keys = queue.put_all([out(number) for number in range(300)])
    there.cuts = [Cut(0, 0), Cut(10_000, 3_000), Cut(50_000, 20_000)]
    for _ in range(4):
        with suppress(Unreachable):
            anyio.run(sent)
    assert [UUID(key) for key, _ in there.log] == keys
    assert queue.waiting == 0


def test_what_is_kept_is_on_disk_when_put_returns(queue, tmp_path):
    key = queue.put(out(1), actor="staff-wren")
    other = sqlite3.connect(tmp_path / "facts")
    assert other.execute("SELECT key, actor FROM fact").fetchall() == [(key.bytes, "staff-wren")]
    assert other.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert queue._disk.execute("PRAGMA synchronous").fetchone() == (2,), "FULL, which survives a loss of power"
    assert (tmp_path / "facts").stat().st_mode & 0o077 == 0


def test_what_was_recorded_is_kept_until_a_checkpoint_outside_covers_it(there, queue):
    queue.put_all([out(number) for number in range(5)])
    speaking(there).send(queue)
    assert (queue.waiting, queue.kept) == (0, 5)
    there.signed = 3
    speaking(there).send(queue)
    assert queue.kept == 2


def test_after_a_restore_what_it_lost_is_sent_again_before_anything_newer(there, queue):
    keys = queue.put_all([out(number) for number in range(6)])
    speaking(there).send(queue)
    there.signed = 2
    speaking(there).send(queue)
    there.restore(3)
    keys.append(queue.put(out(6)))
    speaking(there).send(queue)
    assert [UUID(key) for key, _ in there.log] == keys


def test_numbers_are_never_used_again_even_when_the_queue_has_forgotten_everything(there, queue):
    queue.put(out(1))
    speaking(there).send(queue)
    there.signed = 1
    speaking(there).send(queue)
    assert queue.kept == 0
    queue.put(out(2))
    speaking(there).send(queue)
    assert [seq for _, seq in there.log] == [1, 2]


def test_a_refused_fact_is_listed_to_a_person_and_holds_nothing_up(there, queue):
    queue.put(out(1))
    key = queue.put(out(2, "refuse"))
    queue.put(out(3))
    speaking(there).send(queue)
    (refused,) = queue.refused()
    assert (refused.key, refused.seq, refused.command) == (key, 2, "games/record-out")
    assert refused.problem.type == "/problems/invalid-body"
    assert decode(refused.body)["player"] == "refuse2"
    assert [seq for _, seq in there.log] == [1, 3]
    queue.seen(2)
    assert queue.refused() == ()


def test_what_passes_is_sent_again_and_nothing_behind_it_overtakes(there, queue):
    keys = queue.put_all([out(number) for number in range(4)])
    there.busy = 1
    with pytest.raises(Contended):
        speaking(there).send(queue)
    assert there.log == []
    speaking(there).send(queue)
    assert [UUID(key) for key, _ in there.log] == keys


@pytest.mark.parametrize("between", [b"<h1>Sign in</h1>\n", b'{"x":' + b"[" * 100_000 + b"\n"])
def test_what_is_no_verdict_settles_nothing(there, queue, between):
    key = queue.put(out(1))

    def handle(_request):
        return httpx.Response(200, content=between)

    with pytest.raises(Unreachable):
        Park(
            "http://park", PARK, KEY, http=httpx.Client(base_url="http://park", transport=httpx.MockTransport(handle))
        ).send(queue)
    speaking(there).send(queue)
    assert [UUID(sent) for sent, _ in there.log] == [key]


def test_what_is_asked_for_is_no_fact_and_is_not_kept(queue):
    with pytest.raises(ValueError, match="StartGame is asked for"):
        queue.put(StartGame(game="birch-1"))
    assert queue.kept == 0


def test_a_queue_belongs_to_one_device(there, queue):
    speaking(there).send(queue)
    with pytest.raises(ValueError, match=f"belongs to {DEVICE} of {PARK}, not to gate-2"):
        queue.bind(PARK, "gate-2")


def test_the_moment_is_that_of_keeping_and_never_that_of_sending(queue):
    queue.put(out(1))
    (body,) = queue._disk.execute("SELECT body FROM fact").fetchone()
    assert b'"occurred_at":"20' in body
    happened = decode(body, type=RecordOut).occurred_at
    queue.put(RecordOut(player="p2", field="birch", cause="eliminated", occurred_at=happened))
    assert queue._disk.execute("SELECT body FROM fact WHERE seq = 2").fetchone()[0] == body.replace(b"p1", b"p2")


def test_a_batch_holds_no_more_than_it_may(queue):
    queue.ended(1, 0)
    queue.put_all([out(number) for number in range(MOST_LINES + 1)])
    batch = queue.batch()
    assert len(batch.facts) == MOST_LINES
    assert len(batch.content) <= MOST_BYTES
    first = decode(batch.content.split(b"\n")[0])
    assert encode(first["body"]) == batch.facts[0].body, "the bytes that would be sent alone"


class AnyInterleaving(RuleBasedStateMachine):
    """Puts, sendings cut at any byte either way, kills, checkpoints, restores, in any order."""

    @initialize()
    def begin(self):
        self.folder = Path(mkdtemp(prefix="fieldledger-queue-"))
        self.there = InMemoryPark()
        self.queue = Queue(self.folder / "facts")
        self.all: dict[str, int] = {}
        self.looked_at: set[str] = set()

    def teardown(self):
        if not hasattr(self, "folder"):
            return
        self.there.cuts = []
        self.there.busy = 0
        speaking(self.there).send(self.queue)
        assert self.queue.waiting == 0
        recorded = {key for key, _ in self.there.log}
        assert recorded | set(self.there.aside) | self.looked_at == set(self.all)
        self.queue.close()
        rmtree(self.folder)

    @rule(kinds=st.lists(st.sampled_from(["p", "p", "p", "refuse"]), min_size=1, max_size=400))
    def put(self, kinds):
        for number, key in enumerate(
            self.queue.put_all([out(len(self.all) + at, kind) for at, kind in enumerate(kinds)])
        ):
            self.all[str(key)] = len(self.all) + 1
            assert number < len(kinds)

    @rule(
        cuts=st.lists(
            st.builds(Cut, st.integers(0, 90_000), st.integers(0, 90_000), st.sampled_from([httpx.ReadError, Killed])),
            max_size=4,
        ),
        busy=st.integers(0, 2),
    )
    def send(self, cuts, busy):
        self.there.cuts, self.there.busy = cuts, busy
        try:
            speaking(self.there).send(self.queue)
        except (Unreachable, Contended):
            pass
        except Killed:
            self.kill()

    @rule()
    def kill(self):
        """The process is gone, and another opens what lies on the disk."""
        self.queue._disk.close()
        self.queue = Queue(self.folder / "facts")

    @rule(data=st.data())
    def checkpoint(self, data):
        self.there.signed = data.draw(st.integers(self.there.signed, len(self.there.log)))

    @precondition(lambda self: hasattr(self, "there") and self.there.log)
    @rule(data=st.data())
    def restore(self, data):
        self.there.restore(data.draw(st.integers(self.there.signed, len(self.there.log))))

    @precondition(lambda self: hasattr(self, "queue") and self.queue.refused())
    @rule()
    def look_at_what_was_refused(self):
        first = self.queue.refused()[0]
        self.queue.seen(first.seq)
        self.looked_at.add(str(first.key))

    @invariant()
    def nothing_is_lost(self):
        if not hasattr(self, "queue"):
            return
        rows = self.queue._disk.execute("SELECT key, seq FROM fact").fetchall()
        on_disk = {str(UUID(bytes=key)): seq for key, seq in rows}
        recorded = dict(self.there.log)
        assert set(self.all) == set(on_disk) | set(recorded) | self.looked_at
        assert all(self.all[key] == seq for key, seq in (on_disk | recorded).items()), "dense, and the same for ever"

    @invariant()
    def each_is_there_once_and_in_its_order(self):
        if hasattr(self, "there"):
            assert all(before < after for (_, before), (_, after) in pairwise(self.there.log))


TestAnyInterleaving = AnyInterleaving.TestCase
TestAnyInterleaving.settings = settings(max_examples=60, stateful_step_count=25, deadline=None)
