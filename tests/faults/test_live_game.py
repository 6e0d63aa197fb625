"""A live game through kill -9 of the service, of PostgreSQL and of NATS: no elimination lost or doubled, no second of the clock, no name of the head-count.

Several referees' handhelds record eliminations, take some of them back, stop play and resume it, while each of the three is killed in turn
at moments drawn from a seed. What must then hold is worked out from the log's own bytes by plain code that shares nothing with the services.
"""

import asyncio
from collections import defaultdict
from contextlib import suppress
from datetime import UTC, date, datetime
from itertools import count, pairwise
from random import Random
from typing import get_args
from uuid import uuid4

import httpx
import msgspec
import pytest

from contracts import games, park, registration, velocity
from contracts.envelope import Event
from contracts.words import Role
from deploy.embedded import nats, postgres
from deploy.migrate import migrate
from services.core.auth import Devices
from services.core.clock import SystemClock
from services.core.pool import Pool
from services.core.routes import PATHS
from tests.faults.handheld import Handheld, patiently
from tests.faults.stand import Stand
from tests.faults.test_admission_races import arrival, on_duty
from tests.integration.log_park import opened
from tests.servers import temporary_state

pytestmark = pytest.mark.timeout(240)

PARK, FIELD, GAME = "larchmoor", "birch", "g1"
REFEREES = 4
PLAYERS = 24
ROUNDS = 3
SEED = 20_261_130
CLOCK = 0.1
"""Seconds within which every screen's clock must be what the events say."""


class Referee(Handheld):
    """Sends one touch after the other, each with the moment at which it was made and the same key until it is answered."""

    async def touch(self, path, **body):
        """The key it went under: the id of its event."""
        key = str(uuid4())
        headers = {
            "Authorization": f"Bearer {self.key}",
            "Idempotency-Key": f'"{key}"',
            "Device-Seq": str(len(self.acknowledged) + 1),
        }
        body["occurred_at"] = datetime.now(UTC).isoformat()
        while True:
            answer = None
            with suppress(httpx.HTTPError):
                answer = await self.http.post(f"/parks/{self.park}/{path}", json=body, headers=headers)
            if answer is not None and answer.status_code == httpx.codes.CREATED:
                self.acknowledged.append(key)
                return key
            assert answer is None or answer.status_code == 503 or answer.json()["type"] == "/problems/contended", (
                answer.text
            )
            self.retries += 1
            await asyncio.sleep(0.1)

    async def work(self, players, stop):
        """His players out and in again for as long as the game lasts; the first referee stops play now and then, and resumes it."""
        for number in count():
            player = players[number % len(players)]
            out = await self.touch("games/record-out", player=player, field=FIELD, game=GAME, cause="eliminated")
            if stop.is_set():
                return
            await self.touch("games/void-out", player=player, out=out)
            if self.name.endswith("-0") and number % 3 == 0:
                hold = f"hold-{number}"
                await self.touch("games/ask-hold", hold=hold, field=FIELD)
                await self.touch("games/confirm-hold", hold=hold, field=FIELD)
                await self.touch("games/lift-hold", hold=hold, field=FIELD, swept=True)


@pytest.fixture
def stand():
    with temporary_state() as state, postgres(state) as database, nats(state) as bus:
        stand = Stand(state, migrate(database, "tests-only"), bus, PARK)
        try:
            yield stand
        finally:
            stand.end_service()


def test_a_live_game_survives_kill_9_of_service_postgres_and_nats_without_losing_anything(stand):
    asyncio.run(played_through_kills(stand))


async def played_through_kills(stand):
    address = f"http://127.0.0.1:{stand.port}"
    async with httpx.AsyncClient(base_url=address, timeout=httpx.Timeout(20, connect=2)) as http:
        await stand.until_ready(http)
        office, *referees = await enrolled(stand, http)
        await live_game(office)
        before = await clock(http, office)
        chance, stop = Random(SEED), asyncio.Event()  # noqa: S311 - it guards nothing
        async with asyncio.TaskGroup() as work:
            for number, one in enumerate(referees):
                work.create_task(one.work(players()[number::REFEREES], stop))
            for kill in (stand.kill_service, stand.kill_postgres, stand.kill_nats) * ROUNDS:
                await asyncio.sleep(chance.uniform(0.1, 1.0))
                done = acknowledged(referees)
                kill()
                await until(referees, done + 3 * REFEREES)
            stop.set()
        assert sum(one.retries for one in referees) >= ROUNDS, "no kill was felt"
        events = await recorded(stand)
        await stand.until_caught_up(http, len(events))
        each_touch_is_there_once_and_in_its_order(events, referees)
        after = await clock(http, office)
        the_clock_is_what_the_events_say(before, after, events)
        await nobody_is_lost_from_the_head_count(office, stand, events)


def players():
    return [f"p{number}" for number in range(1, PLAYERS + 1)]


async def enrolled(stand, http):
    """The office, which may do everything, and the referees."""
    pool = Pool(stand.database_url)
    everything: frozenset[Role] = frozenset(get_args(Role))
    office = Referee(
        http, PARK, "office", await Devices(pool, SystemClock()).enrol(PARK, "office", everything, "office")
    )
    names = [f"handheld-{number}" for number in range(REFEREES)]
    keys = [await Devices(pool, SystemClock()).enrol(PARK, name, frozenset({"referee"}), "field") for name in names]
    await pool.close()
    return [office, *(Referee(http, PARK, name, key) for name, key in zip(names, keys, strict=True))]


async def live_game(office):
    """Everybody ready, and on the field."""
    now = datetime.now(UTC)
    board = await office.http.get(f"/parks/{PARK}/board.json")
    today = date.fromisoformat(board.json()["day"])
    commands = [
        park.OpenDay(opened=today),
        velocity.RegisterChrono(chrono="k1"),
        velocity.CheckChrono(chrono="k1", good=True),
        games.ConfigureField(field=FIELD, title="Birch"),
        games.InspectField(field=FIELD, passed=True),
        *on_duty("aid", "first_aider", None, now),
        *(one for number in range(2) for one in on_duty(f"ref{number}", "referee", FIELD, now)),
        *(one for number, player in enumerate(players(), 1) for one in arrival(player, number)),
        registration.RecordPayment(
            payment="all", players=tuple(players()), purpose="entry", means="account", amount_minor=2500
        ),
        registration.HoldBriefing(briefing="all", version=1, players=tuple(players())),
        games.CallGame(
            game=GAME,
            field=FIELD,
            minutes=20,
            entrants=tuple(games.Entrant(player=player, colour="red") for player in players()),
        ),
        games.StartGame(game=GAME),
    ]
    for command in commands:
        body = {name: value for name, value in msgspec.to_builtins(command).items() if name != "occurred_at"}
        await office.send(PATHS[type(command)], body)


async def clock(http, office):
    """What a handheld and the wall show of the game's clock, from the log and from the read tables."""
    headers = {"Authorization": f"Bearer {office.key}"}
    async for _ in patiently():
        shown = await http.get(f"/parks/{PARK}/games/handheld/{FIELD}", headers=headers)
        wall = await http.get(f"/parks/{PARK}/board.json")
        if httpx.codes.OK == shown.status_code == wall.status_code:
            clocks = shown.json()["playing"]["clock"], wall.json()["fields"][FIELD].get("clock")
            if clocks[0] == clocks[1] and "stopped_at" not in clocks[0]:
                return clocks[0]
    raise AssertionError


def acknowledged(referees):
    return sum(len(one.acknowledged) for one in referees)


async def until(referees, number):
    async for _ in patiently():
        if acknowledged(referees) >= number:
            return


async def recorded(stand):
    """Every event's own bytes, in the order of the log."""
    async with opened(stand.database_url, PARK) as log:
        rows = await log.tail(0, 1_000_000)
    assert [row.position for row in rows] == list(range(1, len(rows) + 1))
    return [msgspec.json.decode(row.leaf.split(b"\n", 5)[5], type=Event) for row in rows]


def each_touch_is_there_once_and_in_its_order(events, referees):
    for one in referees:
        mine = [event for event in events if event.device == one.name]
        assert [str(event.id) for event in mine] == one.acknowledged
        assert [event.device_seq for event in mine] == list(range(1, len(mine) + 1))
        assert all(earlier.occurred_at <= later.occurred_at for earlier, later in pairwise(mine))


def the_clock_is_what_the_events_say(before, after, events):
    """The start has not moved, and the time that play was stopped is that from each hold's asking to its lifting."""
    (started,) = (event for event in events if event.type == "games.game_started")
    asked, held = {}, 0.0
    for event in events:
        data = msgspec.json.decode(event.data)
        if event.type == "games.hold_asked":
            asked[data["hold"]] = event.occurred_at
        elif event.type == "games.hold_lifted":
            held += (event.occurred_at - asked.pop(data["hold"])).total_seconds()
    assert not asked
    assert held > 0, "play was never stopped"
    assert before["started_at"] == after["started_at"]
    assert abs((moment(after["started_at"]) - started.occurred_at).total_seconds()) <= CLOCK
    assert after["held_seconds"] == pytest.approx(held, abs=CLOCK)
    deadline = (moment(after["deadline"]) - started.occurred_at).total_seconds()
    assert deadline == pytest.approx(20 * 60 + held, abs=CLOCK)


def moment(text):
    return datetime.fromisoformat(text)


async def nobody_is_lost_from_the_head_count(office, stand, events):
    """Whoever was recorded out and not taken back is off; everybody else is named when nobody comes."""
    outs = defaultdict(set)
    for event in events:
        data = msgspec.json.decode(event.data)
        if event.type == "games.player_out":
            outs[data["player"]].add(str(event.id))
        elif event.type == "games.out_voided":
            outs[data["player"]].discard(data["out"])
    off = {player for player, ids in outs.items() if ids}
    assert len(off) == REFEREES, "each referee left one of his players out"
    await office.send("games/end-game", {"game": GAME})
    stand.kill_service()
    await office.send("games/count-heads", {"game": GAME, "counted": 0})
    counted = msgspec.json.decode((await recorded(stand))[-1].data)
    assert set(counted["missing"]) == set(players()) - off
    assert counted["expected"] == PLAYERS - REFEREES == len(counted["missing"])
