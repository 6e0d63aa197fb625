"""Whatever happens at a small park, in whatever order and however late it is told, the promises of the record hold.

The commands run through the very `Park` and handlers that the server uses, over a log in memory that another station may reach first.
"""

import asyncio
from datetime import timedelta
from functools import cache
from typing import Any
from uuid import UUID

import msgspec
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from contracts.discipline import Caution
from contracts.envelope import Command, Recorded
from contracts.games import (
    CallGame,
    CountHeads,
    EndGame,
    Entrant,
    EntryRecorded,
    GameStarted,
    HoldAsked,
    HoldLifted,
    LiftHold,
    PlayerAdmitted,
    StartGame,
    StartRefused,
)
from contracts.problems import IdempotencyKeyReused, Refused
from contracts.velocity import ChangeSetUp, MarkerTested, OpenString, ReadingTaken, StringOpened, TakeReading
from services.clearance import field as field_rules
from services.clearance import model as clearance
from services.clearance.field import FIELD
from services.core.clock import SetClock
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.core.folds import Folds
from services.core.park import Answer, Asked, Caller, Park, digest_of
from services.core.rules import RULES
from services.core.times import Contact
from tests.unit.memory_log import MemoryLog
from tests.unit.plain_record import against, held, last_in, stops_play, waits_inside, weather_against
from tests.unit.scenario import NINE
from tests.unit.small_bench import CHRONOS, FIELDS, INSTRUMENTS, MARKERS, OPENINGS, READINGS, SET_UPS, check, string
from tests.unit.small_park import (
    COOL,
    FACTS,
    GAMES,
    GATE,
    HANDLERS,
    LATE,
    LIMITS,
    PLAYERS,
    REQUESTS,
    SKY,
    VIOLATIONS,
    marker_of,
    opened_again,
    opening,
    set_right,
)

pytestmark = pytest.mark.timeout(400)
PLAY = timedelta(minutes=15)


class Station:
    """Sends commands to a park, each as a request of its own, and keeps what it sent."""

    def __init__(self, log: MemoryLog, clock: SetClock) -> None:
        self.park = Park("small", log, clock)  # type: ignore[arg-type] - it keeps the same promises
        self.log, self.clock = log, clock
        self.sent: list[tuple[Command, Asked]] = []
        self.answered: list[tuple[Command, Asked, Answer]] = []

    def prepared(self, command: Command) -> Asked:
        """A new request of a device that may send this command."""
        asked = Asked(
            id=UUID(int=len(self.sent) + 1),
            digest=digest_of(type(command).__name__, msgspec.json.encode(command)),
            caller=Caller(device="handheld", roles=command.ROLES),
            contact=Contact(received_at=self.clock.now()),
        )
        self.sent.append((command, asked))
        return asked

    async def send(self, command: Command, asked: Asked | None = None) -> Answer | None:
        """The answer; None when nothing was written. Every string has a name of its own."""
        if asked is None and isinstance(command, OpenString):
            command = msgspec.structs.replace(command, test=f"s{len(self.sent)}")
        asked = asked or self.prepared(command)
        try:
            answer = await self.park.execute(HANDLERS[type(command)], command, asked)
        except Refused:
            return None
        self.answered.append((command, asked, answer))
        return answer


@cache
def opened() -> MemoryLog:
    clock = SetClock(NINE)
    log = MemoryLog("small", clock)
    station = Station(log, clock)
    for command in opening():
        assert asyncio.run(station.send(command)) is not None, command
    return log


class SmallPark(RuleBasedStateMachine):
    """Any interleaving of commands and facts."""

    @initialize()
    def open(self) -> None:
        self.loop = asyncio.new_event_loop()
        self.clock = SetClock(NINE + timedelta(hours=1))
        self.log = opened().copy(self.clock)
        self.station = Station(self.log, self.clock)
        self.station.sent = [(command, None) for command in opening()]
        self.folds = Folds("clearance", clearance.FOLDS)
        self.states: dict[str, Any] = {}
        self.seen = 0
        self.cautions = 0

    def do(self, command: Command, asked: Asked | None = None) -> Answer | None:
        return self.loop.run_until_complete(self.station.send(command, asked))

    def told_late(self, fact: Command, late: timedelta) -> Command:
        return msgspec.structs.replace(fact, occurred_at=self.clock.now() - late) if late else fact

    @rule(minutes=st.sampled_from([1, 4, 9, 25]))
    def time_passes(self, minutes: int) -> None:
        self.clock.advance(timedelta(minutes=minutes))

    @rule(player=st.sampled_from(PLAYERS), violation=st.sampled_from(VIOLATIONS), late=LATE)
    def a_referee_cautions(self, player: str, violation: str, late: timedelta) -> None:
        self.cautions += 1
        caution = Caution(caution=f"c{self.cautions}", violation=violation, player=player)
        self.do(self.told_late(caution, late))

    @rule(fact=SET_UPS, late=LATE)
    def a_marker_is_touched(self, fact: Command, late: timedelta) -> None:
        self.do(self.told_late(fact, late))

    @rule(fact=INSTRUMENTS, late=LATE)
    def a_chronograph_is_touched(self, fact: Command, late: timedelta) -> None:
        self.do(self.told_late(fact, late))

    @rule(opening=OPENINGS, shown=st.lists(READINGS, min_size=1, max_size=5), late=LATE)
    def a_string_is_shot(self, opening: OpenString, shown: list[Command], late: timedelta) -> None:
        """Reading by reading; now and then something else gets in between, or is told late."""
        self.do(opening)
        for one in shown:
            self.do(self.told_late(msgspec.structs.replace(one, chrono=opening.chrono), late))

    @rule(marker=st.sampled_from(MARKERS), chrono=st.sampled_from(CHRONOS))
    def a_string_passes(self, marker: str, chrono: str) -> None:
        self.do(OpenString(test="s", marker=marker, chrono=chrono))
        for speed in (250.0, None, 252.0, 251.0):
            self.do(TakeReading(chrono=chrono, speed_fps=speed))

    @rule(fact=FACTS, late=LATE)
    def it_happens(self, fact: Command, late: timedelta) -> None:
        self.do(self.told_late(fact, late))

    @rule(request=REQUESTS)
    def it_is_asked_for(self, request: Command) -> None:
        self.do(request)

    @rule(request=GATE)
    def somebody_is_at_the_gate(self, request: Command) -> None:
        self.do(request)

    def called(self, game: str, field: str, players: list[str], kind: str) -> bool:
        entrants = tuple(Entrant(player=player, colour="red") for player in players)
        rotation = "r1" if field == "birch" else "r2"
        call = CallGame(game=game, field=field, rotation=rotation, format=kind, entrants=entrants)  # type: ignore[arg-type]
        return self.do(call) is not None

    lists = st.lists(st.sampled_from(PLAYERS), min_size=1, unique=True)
    kinds = st.sampled_from(["elimination", "respawn", "continuous"])

    @rule(game=st.sampled_from(GAMES), field=st.sampled_from(FIELDS), players=lists, kind=kinds)
    def a_game_starts(self, game: str, field: str, players: list[str], kind: str) -> None:
        """With everybody, or else without whoever is named."""
        if not self.called(game, field, players, kind):
            return
        answer = self.do(StartGame(game=game))
        if answer is not None and isinstance(answer.refusal, StartRefused):
            self.do(StartGame(game=game, without=tuple(one.player for one in answer.refusal.offenders)))

    @rule(number=st.integers(1, 10**6), field=st.sampled_from(FIELDS), players=lists)
    def a_whole_game_is_played(self, number: int, field: str, players: list[str]) -> None:
        game = f"whole-{number}"
        self.a_game_starts(game, field, players, "elimination")
        self.clock.advance(PLAY)
        if self.do(EndGame(game=game)) is not None:
            self.everybody_is_off(game)

    def everybody_is_off(self, game: str) -> None:
        counted = self.do(CountHeads(game=game, counted=0))
        assert counted is not None
        self.do(CountHeads(game=game, counted=counted.receipt.events[0].data.expected))

    @rule(
        player=st.sampled_from(PLAYERS),
        number=st.integers(1, 10**6),
        field=st.sampled_from(FIELDS),
        chrono=st.sampled_from(CHRONOS),
        speed=st.sampled_from([250.0, 258.0, 282.0]),
        off=st.sampled_from([0.0, -4.0]),
    )
    def a_chronograph_is_checked_after_it_measured(  # noqa: PLR0917 - who, where, on what
        self, player: str, number: int, field: str, chrono: str, speed: float, off: float
    ) -> None:
        """Where it reads low, who was measured on it asks to play."""
        self.a_player_is_set_right(player)
        self.a_field_is_set_right(field)
        self.do(check(chrono, 0.0))
        self.do(string(marker_of(player), speed, chrono))
        self.do(check(chrono, off))
        self.a_game_starts(f"checked-{number}", field, [player], "respawn")

    @rule(
        player=st.sampled_from(PLAYERS),
        number=st.integers(1, 10**6),
        field=st.sampled_from(FIELDS),
        change=st.sampled_from(["adjuster", "refill"]),
    )
    def a_marker_is_changed_amid_its_string(self, player: str, number: int, field: str, change: Any) -> None:
        """Whose string it is asks to play."""
        self.a_player_is_set_right(player)
        self.a_field_is_set_right(field)
        marker = marker_of(player)
        self.do(OpenString(test="s", marker=marker, chrono="k1"))
        for _ in range(3):
            self.do(TakeReading(chrono="k1", speed_fps=250.0))
            self.do(ChangeSetUp(marker=marker, change=change))
            change = "hopper"
        self.a_game_starts(f"amid-{number}", field, [player], "respawn")

    @rule(player=st.sampled_from(PLAYERS))
    def a_player_is_set_right(self, player: str) -> None:
        for command in set_right(player):
            self.do(command)

    @rule(field=st.sampled_from(FIELDS))
    def a_field_is_set_right(self, field: str) -> None:
        for run in list(self.park_state(FIELD, field).runs.values()):
            if run.running:
                self.do(EndGame(game=run.game))
            if run.running or run.uncounted:
                self.everybody_is_off(run.game)
        for command in opened_again(field, self.holds(field)):
            self.do(command)

    def holds(self, field: str) -> list[str]:
        return [hold.hold for hold in self.park_state(FIELD, field).standing]

    @rule(fact=SKY, field=st.sampled_from(FIELDS), later=st.sampled_from([0, 9, 29, 30, 31, 60]), late=LATE)
    def the_sky_clears_perhaps(self, fact: Command, field: str, later: int, late: timedelta) -> None:
        """Something is seen of the sky, some time passes, and somebody would lift every hold of a field."""
        self.do(self.told_late(fact, late))
        self.clock.advance(timedelta(minutes=later))
        for hold in self.holds(field):
            self.do(LiftHold(hold=hold, field=field, swept=True))

    @rule(late=LATE)
    def the_storm_has_passed(self, late: timedelta) -> None:
        """Half an hour on it is cool, and every field is opened again."""
        self.clock.advance(timedelta(minutes=31) + late)
        self.do(self.told_late(COOL, late))
        for field in FIELDS:
            self.a_field_is_set_right(field)

    def park_state(self, fold: Any, name: str) -> Any:
        tag = fold.tag(name)
        return fold.over(name, (one for one in self.log.events() if tag in one.tags))

    @rule(first=st.one_of(GATE, REQUESTS), second=st.one_of(FACTS, SET_UPS, REQUESTS, GATE), late=LATE)
    def two_stations_at_the_same_time(self, first: Command, second: Command, late: timedelta) -> None:
        """The second gets in between what the first has read and what it writes."""
        second = self.told_late(second, late) if second.FACT else second
        self.log.meanwhile = lambda: self.station.send(second)
        self.do(first)
        self.log.meanwhile = None

    @rule(
        players=lists,
        field=st.sampled_from(FIELDS),
        number=st.integers(1, 10**6),
        fact=st.one_of(FACTS, SET_UPS),
        late=LATE,
    )
    def a_start_is_overtaken(self, players: list[str], field: str, number: int, fact: Command, late: timedelta) -> None:
        if self.called(f"raced-{number}", field, players, "respawn"):
            self.two_stations_at_the_same_time(StartGame(game=f"raced-{number}"), fact, late)

    @precondition(lambda self: self.station.answered)
    @rule(data=st.data())
    def a_request_comes_again(self, data: st.DataObject) -> None:
        command, asked, first = data.draw(st.sampled_from(self.station.answered))
        before = len(self.log.rows)
        again = self.do(command, asked)
        assert len(self.log.rows) == before, "a repeated command changed the log"
        assert again is not None
        assert again.receipt == msgspec.structs.replace(first.receipt, repeat=True)
        assert again.refusal == first.refusal

    @precondition(lambda self: self.station.answered)
    @rule(data=st.data(), other=st.one_of(FACTS, REQUESTS, GATE))
    def a_key_is_used_for_something_else(self, data: st.DataObject, other: Command) -> None:
        _, asked, _ = data.draw(st.sampled_from(self.station.answered))
        other_asked = msgspec.structs.replace(asked, digest=b"another")
        before = len(self.log.rows)
        with pytest.raises(IdempotencyKeyReused):
            self.loop.run_until_complete(self.station.park.execute(HANDLERS[type(other)], other, other_asked))
        assert len(self.log.rows) == before

    @invariant()
    def nobody_enters_who_is_not_cleared_at_that_position(self) -> None:
        if not hasattr(self, "log"):
            return
        new = self.log.events(self.seen)
        self.folds.apply(new, self.states)
        before, self.seen = self.seen, len(self.log.rows)
        assert [one.position for one in new] == list(range(before + 1, self.seen + 1)), "positions dense"
        grants = [one for one in new if isinstance(one.data, (GameStarted, PlayerAdmitted))]
        if grants:
            record = self.log.events()
            for grant in grants:
                must_be_cleared(record[: grant.position - 1], grant)
        for entry in (one for one in new if isinstance(one.data, EntryRecorded)):
            must_say_what_is_against_it(self.log.events()[: entry.position - 1], entry)
        the_weather_is_heeded(self.log.events(), new)

    @rule()
    def the_read_tables_are_written_and_read_back(self) -> None:
        self.states = {tag: self.folds.decode(tag, self.folds.encode(tag, state)) for tag, state in self.states.items()}

    def teardown(self) -> None:
        if not hasattr(self, "log"):
            return
        self.loop.close()
        record = self.log.events()
        assert len({one.id for one in record}) == len(record), "an id is there twice"
        at_once: dict[str, Any] = {}
        self.folds.apply(record, at_once)
        assert encoded(self.folds, self.states) == encoded(self.folds, at_once), "replay differs from live"
        no_reading_is_lost(record)
        for (fold, name), (position, state) in self.station.park._remembered.items():
            tag = fold.tag(name)
            told = (one for one in record if tag in one.tags and one.position <= position)
            assert fold.over(name, told) == state, f"what the park remembers of {tag} is not what the log says"


def the_weather_is_heeded(record: list[Recorded[Any]], new: list[Recorded[Any]]) -> None:
    """By the plain reading, thunder and heat stop play in the breath that tells of them, and no hold by the weather is lifted before its time."""
    for one in new:
        if stops_play(record[: one.position - 1], one):
            beside = record[one.position : one.position + 1]
            stopped = [*record[: one.position], *(after for after in beside if isinstance(after.data, HoldAsked))]
            assert all(held(stopped, field) for field in FIELDS), f"play went on under {one.data} at {one.position}"
        if isinstance(one.data, HoldLifted):
            early = weather_against(record[: one.position - 1], one)
            assert early is None, f"{one.data} at {one.position} although {early}"


def no_reading_is_lost(record: list[Recorded[Any]]) -> None:
    """Every string that was sent reading by reading ends with exactly the readings that were recorded as its own."""
    ended = {one.data.test: one.data for one in record if isinstance(one.data, MarkerTested)}
    for opened in (one.data for one in record if isinstance(one.data, StringOpened)):
        sent = [one.data for one in record if isinstance(one.data, ReadingTaken) and one.data.test == opened.test]
        assert all((one.chrono, one.marker) == (opened.chrono, opened.marker) for one in sent), "of another's string"
        if opened.test in ended:
            readings = tuple(one.speed_fps for one in sent if one.misread is None)
            assert ended[opened.test].readings_fps == readings, f"string {opened.test} lost a reading"
            assert len(readings) <= 3, "a string was shot on"


def encoded(folds: Folds, states: dict[str, Any]) -> dict[str, bytes]:
    return {tag: folds.encode(tag, state) for tag, state in states.items()}


def must_be_cleared(before: list[Recorded[Any]], grant: Recorded[Any]) -> None:
    """Judged from scratch, by the rules and by the plain reading, everybody whom a grant lets in was cleared."""
    data = grant.data
    game = data.game
    players = [one.player for one in data.entrants] if isinstance(data, GameStarted) else [data.player]
    for player in players:
        given = folded(before, clearance.subjects(player, data.field))
        moment = Moment(
            now=data.basis.now,
            occurred_at=grant.occurred_at,
            day=grant.day,
            rules=given.of(RULES, "").rules,
            position=grant.position - 1,
        )
        reasons = clearance.reasons(given, player, data.field, moment)
        last = last_in(before, player)
        if isinstance(data, GameStarted) and last is not None and waits_inside(last, data.field):
            reasons = [one for one in reasons if one.code != "already_on_field"]
        reasons += field_rules.reasons(given.of(FIELD, data.field), moment, game)
        assert reasons == [], f"{player} entered {data.field} at {grant.position} although {reasons}"
        plain = against(before, player, data.field, LIMITS[data.field])
        assert plain == set(), f"{player} entered {data.field} at {grant.position} although {plain}"


def must_say_what_is_against_it(before: list[Recorded[Any]], entry: Recorded[EntryRecorded]) -> None:
    """Whoever was let in without the network although the plain reading finds something is marked by the record too."""
    data = entry.data
    plain = against(before, data.player, data.field, LIMITS[data.field])
    assert data.reasons or not plain, (
        f"{data.player} entered {data.field} at {entry.position} unmarked although {plain}"
    )


def folded(record: list[Recorded[Any]], reads: Any) -> Given:
    """What these events make of the subjects that are read, from nothing."""
    given, known = Given(), set[Subject]()
    while wanted := {(RULES, ""), *reads(given)} - known:
        for fold, name in wanted:
            tag = fold.tag(name)
            given.put((fold, name), fold.over(name, (one for one in record if tag in one.tags)))
        known |= wanted
    return given


SmallPark.TestCase.settings = settings(
    max_examples=200,
    stateful_step_count=50,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
TestAnyInterleaving = SmallPark.TestCase
