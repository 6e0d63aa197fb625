"""Admission against ejection through the real commands: 64 tasks, two processes' worth of connections and memory, one park.

Each race is about one player: two stations ask to let him in while two referees caution him for two different acts. Whatever the
order in which they reach the database, nobody is admitted, nor starts a game, after what sends him off.
"""

import asyncio
from collections import Counter
from contextlib import AsyncExitStack
from datetime import timedelta
from itertools import count, cycle
from random import Random
from time import monotonic
from uuid import uuid4

import msgspec
import pytest

from contracts import duty, equipment, games, park, registration, velocity
from contracts.discipline import Caution, CautionRecorded, PlayerReinstated, ReinstatePlayer
from contracts.games import GameStarted, PlayerAdmitted
from contracts.leaf import decode
from contracts.problems import Contended, NotInThatState
from deploy.demo.clock import RunningClock
from deploy.services import SERVICES
from services.core.park import Asked, Caller, Park, digest_of
from services.core.times import Contact
from tests.integration.log_park import PARK, opened
from tests.unit.scenario import NINE

pytestmark = [pytest.mark.anyio, pytest.mark.timeout(300)]

HANDLERS = {handler.command: handler for service in SERVICES for handler in service.handlers}
PROCESSES = 2
FIELDS = 16
PAIRS = 4
TURNS = 24
RACES = 2 * FIELDS * PAIRS * TURNS
"""3,072: two players at a time on each field, each pair so many times."""
STARTS_EVERY = 4
YEAR = timedelta(days=365)
caution_numbers = count(1)


@pytest.fixture
def anyio_backend():
    return "asyncio", {"use_uvloop": True}


class Process:
    """A park as one process has it: connections, a writer and a memory of its own."""

    def __init__(self, log, clock):
        self.park = Park(PARK, log, clock)
        self.outcomes = Counter()

    async def send(self, command):
        """The type of the first event that it came to, or why nothing was written: another was quicker."""
        asked = Asked(
            id=uuid4(),
            digest=digest_of(type(command).__name__, msgspec.json.encode(command)),
            caller=Caller(device="handheld", roles=command.ROLES),
            contact=Contact(received_at=self.park.clock.now()),
        )
        try:
            answer = await self.park.execute(HANDLERS[type(command)], command, asked)
        except (Contended, NotInThatState) as refused:
            return type(refused).__name__
        return answer.receipt.events[0].type


async def test_64_tasks_race_3000_times_to_admit_and_to_eject_a_player_and_none_goes_on_after_his_ejection(database):
    async with AsyncExitStack() as stack:
        clock = RunningClock(NINE)
        clock.run()
        logs = [await stack.enter_async_context(opened(database.url, clock=clock)) for _ in range(PROCESSES)]
        processes = [Process(log, clock) for log in logs]
        await open_park(processes[0])
        lanes = await asyncio.gather(*(lane(processes, number) for number in range(FIELDS)))
        rows = await logs[0].tail(0, 1_000_000)
    record = [decode(row.leaf) for row in rows]
    outcomes = sum(lanes, Counter())
    assert outcomes["races"] == RACES >= 3000
    assert [event.position for event in record] == list(range(1, len(record) + 1))
    assert let_in_after_a_caution(record) == []
    asked = outcomes["games.player_admitted"] + outcomes["games.admission_refused"]
    assert min(outcomes["games.player_admitted"], outcomes["games.admission_refused"]) > asked / 20, "not a race"
    assert min(outcomes["games.game_started"], outcomes["games.start_refused"]) > 0, "not a race"


async def open_park(process):
    """Every field open with a referee, every player ready with a hired marker."""
    now = process.park.clock.now()
    for command in (
        park.OpenDay(opened=now.date()),
        velocity.RegisterChrono(chrono="k1"),
        velocity.CheckChrono(chrono="k1", good=True),
        *on_duty("aid", "first_aider", None, now),
    ):
        await process.send(command)
    await asyncio.gather(*(open_field(process, number, now) for number in range(FIELDS)))


async def open_field(process, number, now):
    field = f"field{number}"
    await process.send(games.ConfigureField(field=field, title=field))
    await process.send(games.InspectField(field=field, passed=True))
    for command in on_duty(f"ref{number}", "referee", field, now):
        await process.send(command)
    players = [f"p{number}-{index}" for index in range(2 * PAIRS)]
    for index, player in enumerate(players, 2 * PAIRS * number + 1):
        for command in arrival(player, index):
            await process.send(command)
    for command in (
        registration.RecordPayment(
            payment=field, players=tuple(players), purpose="entry", means="account", amount_minor=2500
        ),
        registration.HoldBriefing(briefing=field, version=1, players=tuple(players)),
    ):
        await process.send(command)


def on_duty(staff, post, field, now):
    qualified = duty.Qualification(post=post, until=(now + YEAR).date())
    return [
        duty.RegisterStaff(staff=staff, qualifications=(qualified,)),
        duty.StartDuty(staff=staff, post=post, field=field),
    ]


def arrival(player, armband):
    marker, mask = f"m-{player}", f"k-{player}"
    return [
        registration.RegisterPerson(person=f"person-{player}", age_band=18),
        registration.SignWaiver(person=f"person-{player}", wording="w1"),
        registration.RegisterPlayer(
            player=player, person=f"person-{player}", day_pass=f"pass-{player}", armband=armband
        ),
        equipment.RegisterMarker(marker=marker, model="Heron"),
        equipment.RegisterMask(mask=mask, model="Visor"),
        velocity.TestMarker(test=marker, marker=marker, chrono="k1", readings_fps=(270, 271, 272)),
        equipment.IssueGear(player=player, marker=marker, mask=mask),
    ]


def let_in_after_a_caution(record):
    """By nothing but the order of the record: whoever was let in while a caution stood against him."""
    cautioned: set[str] = set()
    wrong = []
    for event in record:
        match event.data:
            case CautionRecorded(player=player):
                cautioned.add(player)
            case PlayerReinstated(player=player):
                cautioned.discard(player)
            case PlayerAdmitted(player=player) if player in cautioned:
                wrong.append((player, event.position))
            case GameStarted(entrants=entrants):
                wrong += [(one.player, event.position) for one in entrants if one.player in cautioned]
    return wrong


async def lane(processes, number):
    """One field's races, one pair of players after the other."""
    field, outcomes, turns, chance = (
        f"field{number}",
        Counter(),
        cycle(range(PROCESSES)),
        Chance(number, processes[0].park.clock),
    )
    players = [f"p{number}-{index}" for index in range(2 * PAIRS)]
    game = await new_game(processes[0], field, players[:2], 0)
    assert await processes[0].send(games.StartGame(game=game)) == "games.game_started"
    await off(processes[0], field, players[:2])
    for first in range(0, len(players), 2):
        pair = players[first : first + 2]
        for turn in range(TURNS):
            start = next(turns)
            shuffled = processes[start:] + processes[:start]
            if turn % STARTS_EVERY == STARTS_EVERY - 1:
                await end(processes[0], game)
                game = await new_game(processes[0], field, pair, first * TURNS + turn + 1)
                found = await race_to_start(shuffled, game, pair, chance)
            else:
                found = await race_to_admit(shuffled, game, field, pair, chance)
            await reinstated(shuffled[0], pair)
            if "games.start_refused" in found and "games.game_started" not in found:
                assert await shuffled[0].send(games.StartGame(game=game)) == "games.game_started"
            if "games.player_admitted" in found or "games.start_refused" in found or "games.game_started" in found:
                await off(shuffled[0], field, pair)
            outcomes.update(found)
            outcomes["races"] += len(pair)
    return outcomes


async def race_to_admit(processes, game, field, pair, chance):
    requests = [games.AdmitPlayer(player=player, field=field, game=game, colour="red") for player in pair]
    return await race(processes, requests, pair, chance)


async def race_to_start(processes, game, pair, chance):
    return await race(processes, [games.StartGame(game=game)] * 2, pair, chance)


async def race(processes, requests, pair, chance):
    """Requests and cautions from both processes; the cautions come at any time while the requests are under way."""
    began = monotonic()
    asking = [station.send(request) for request, station in zip(requests, processes, strict=True)]
    against = [
        after(chance.uniform(0, chance.usual), station.send(caution))
        for player in pair
        for caution, station in zip(cautions(player, chance), processes, strict=False)
    ]
    answers = await asyncio.gather(*asking, *against)
    chance.usual += ((monotonic() - began) - chance.usual) / 10
    return answers[: len(asking)]


async def after(seconds, sending):
    await asyncio.sleep(seconds)
    return await sending


class Chance(Random):
    """`usual`: how long a race has taken of late, in seconds; so that cautions come before, amid and after."""

    usual = 0.02

    def __init__(self, seed, clock):
        super().__init__(seed)
        self.now = clock.now


def cautions(player, chance):
    """What sends a player off: two acts that are so far apart that they are two, or one that weighs two."""
    if chance.random() < 0.5:
        return [Caution(caution=f"c{next(caution_numbers)}", violation="physical-contact", player=player)]
    return [
        Caution(caution=f"c{next(caution_numbers)}", violation="wiping", player=player, occurred_at=at)
        for at in (chance.now() - timedelta(minutes=20), None)
    ]


async def off(process, field, pair):
    for player in pair:
        await process.send(games.RecordOut(player=player, field=field, cause="walked_off"))


async def reinstated(process, pair):
    """The head referee lets them play again."""
    for player in pair:
        assert await process.send(ReinstatePlayer(player=player)) == "discipline.player_reinstated"


async def end(process, game):
    """The game ends, and as many heads are counted as had to come off."""
    await process.send(games.EndGame(game=game))
    await process.send(games.CountHeads(game=game, counted=0))


async def new_game(process, field, pair, number):
    game = f"{field}-game{number}"
    entrants = tuple(games.Entrant(player=player, colour="red") for player in pair)
    assert await process.send(games.CallGame(game=game, field=field, format="respawn", entrants=entrants)) == (
        "games.game_called"
    )
    return game
