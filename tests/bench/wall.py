"""Write to board: from the append until the read table and the wall's reader have it, against a commit and one round trip on the bus."""

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import aclosing, closing
from random import Random
from uuid import uuid4

import nats

from contracts.registration import RegisterPerson, RegisterPlayer
from deploy.app import Running, listening, listening_socket, running
from deploy.services import PROJECTIONS, SERVICES
from services.board.live import PACE, Board
from services.clearance.api import PROJECTION
from services.core.clock import SystemClock
from services.core.park import Asked, Caller, Park
from services.core.projection import Change
from services.core.times import Contact
from tests.bench.appends import Subjects
from tests.bench.figures import Figure
from tests.bench.gate import HANDLERS
from tests.bench.ground import Ground, database
from tests.bench.history import Day
from tests.bench.turns import p99

PARK = "larchmoor-wall"
"""A park of its own: the bus holds a stream for every park that is up."""


class Watch:
    """When each position was heard of: by the board from the projector, and by a reader of its stream."""

    def __init__(self, up: Running, board: Board) -> None:
        self.told: dict[int, float] = {}
        self.shown: dict[int, float] = {}
        self._board = board
        self._news = asyncio.Event()
        up.projectors[PARK].listen(PROJECTION.name, self._hear)

    def _hear(self, change: Change[object]) -> None:
        self.told[change.position] = time.perf_counter()

    async def follow(self) -> None:
        """Read the board's stream as a screen does."""
        frames: AsyncIterator[bytes] = self._board.channel.follow(None, self._board.beat)
        async with aclosing(frames):  # type: ignore[type-var]
            async for frame in frames:
                if b"\nid: " in frame:
                    position = int(frame.partition(b"\nid: ")[2].split(b":")[1])
                    self.shown[position] = time.perf_counter()
                    self._news.set()

    async def seen(self, position: int) -> None:
        """Return once the reader has come to a position."""
        while max(self.shown, default=0) < position:
            self._news.clear()
            await self._news.wait()


async def write(park: Park, number: int) -> int:
    """Somebody registers; the position of that."""
    name = f"{number}-{uuid4().hex[:8]}"
    contact = Contact(received_at=park.clock.now())
    caller = Caller(device="desk-1", roles=frozenset({"manager"}))
    person = RegisterPerson(person=f"person-{name}", age_band=18)
    player = RegisterPlayer(player=f"player-{name}", person=person.person, day_pass=f"pass-{name}", armband=number + 1)
    position = 0
    for command in (person, player):
        asked = Asked(id=uuid4(), digest=b"d" * 32, caller=caller, contact=contact)
        position = (await park.execute(HANDLERS[type(command)], command, asked)).receipt.position
    return position


async def measure(here: Ground, _day: Day) -> list[Figure]:
    with database(here) as where, closing(listening_socket("127.0.0.1", 0)) as made:
        async with (
            running(where.url, here.bus, [PARK], SERVICES, PROJECTIONS, SystemClock(), here.outside) as up,
            listening(up.app, made),
        ):
            told, shown, bare = await _sampled(here, up)
    common = {"unit": "ms", "reference": p99(bare) * 1000, "goal": 5, "at_most": True}
    reference = f"one commit and one request on the bus, p99 of {len(bare)}"
    return [
        Figure(
            name="write_to_board",
            what=f"an append until the board has been told of it, p99 of {len(told)}",
            against=reference,
            value=p99(told) * 1000,
            **common,
        ),
        Figure(
            name="write_to_screen",
            what=f"an append until a reader of the board's stream has it, p99; more than {PACE} s after the message before",
            against=reference,
            value=p99(shown) * 1000,
            **common,
        ),
    ]


async def _sampled(here: Ground, up: Running) -> tuple[list[float], list[float], list[float]]:
    park, random = up.parks[PARK], Random(7)  # noqa: S311 - a sample, not a secret
    watch = Watch(up, up.app.state.boards[PARK])
    following = asyncio.create_task(watch.follow())
    bus = await nats.connect(here.bus.service)
    told, shown, bare = list[float](), list[float](), list[float]()
    await _settled(watch, await write(park, 0))
    for _ in range(here.sizes.screen_samples):
        await asyncio.sleep(PACE + random.uniform(0.05, 0.15))
        begun = time.perf_counter()
        position = (await park.log.append(Subjects().append(0))).last
        await _settled(watch, position)
        told.append(watch.told[position] - begun)
        shown.append(watch.shown[position] - begun)
        await asyncio.sleep(PACE)
        begun = time.perf_counter()
        position = (await park.log.append(Subjects().append(0))).last
        await bus.request("$JS.API.INFO", b"", timeout=5)
        bare.append(time.perf_counter() - begun)
        await _settled(watch, position)
    following.cancel()
    await bus.close()
    return told, shown, bare


async def _settled(watch: Watch, position: int) -> None:
    async with asyncio.timeout(10):
        await watch.seen(position)
