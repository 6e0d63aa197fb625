"""Any moment of the invented day, read from a real log: the late handheld, the withdrawn caution, the appeal, and the wall."""

import asyncio
from collections.abc import Callable
from datetime import datetime, timedelta
from random import Random
from typing import Any

import pytest

from contracts.discipline import AppealDecided, CautionRecorded, CautionResolved, CautionVoided
from contracts.games import GameStarted
from contracts.moments import ClearanceAt, StatusAt
from services.audit.asking import axes
from services.audit.moments.corrections import REACHING
from services.audit.moments.moment import clearance_at
from services.audit.moments.status import status_at
from services.board.memory import Memory
from services.board.model import status
from services.core.clock import SystemClock
from services.core.log import Log
from services.core.pool import Pool
from tests.unit.past_log import PastLog

pytestmark = pytest.mark.timeout(400)


def only(events, kind, **fields):
    (found,) = [
        event
        for event in events
        if isinstance(event.data, kind) and all(getattr(event.data, name) == value for name, value in fields.items())
    ]
    return found


@pytest.fixture(scope="module")
def events(demo_day):
    return demo_day.events


@pytest.fixture(scope="module")
def ask(demo_day) -> Callable[[Callable[[Log, Pool], Any]], Any]:
    """Put a question to the day's own log."""

    def asked(question: Callable[[Log, Pool], Any]) -> Any:
        async def answer() -> Any:
            pool = Pool(demo_day.database.url, size=2)
            try:
                return await question(Log(pool, demo_day.park, SystemClock()), pool)
            finally:
                await pool.close()

        return asyncio.run(answer())

    return asked


@pytest.fixture(scope="module")
def clearance(ask, events) -> Callable[..., ClearanceAt]:
    def asked(player: str, field: str, **query: str) -> ClearanceAt:
        async def question(log: Log, _: Pool) -> ClearanceAt:
            return await clearance_at(await axes(log, query, events[-1].recorded_at), log.park, player, field)

        return ask(question)

    return asked


@pytest.fixture(scope="module")
def wall(ask, events) -> Callable[..., StatusAt]:
    def asked(**query: str) -> StatusAt:
        async def question(log: Log, _: Pool) -> StatusAt:
            return await status_at(await axes(log, query, events[-1].recorded_at), log, 1)

        return ask(question)

    return asked


def codes(answer: ClearanceAt) -> tuple[list[str], list[str]]:
    return ([one.code for one in answer.as_recorded.reasons], [one.code for one in answer.as_happened.reasons])


def test_the_late_handheld_is_named_where_the_gate_had_cleared_him(events, clearance):
    late = only(events, CautionRecorded, violation="out-of-bounds")
    admitted = next(
        one
        for one in events
        if isinstance(one.data, GameStarted)
        and late.occurred_at < one.recorded_at < late.recorded_at
        and late.data.player in {entrant.player for entrant in one.data.entrants}
    )
    before = admitted.recorded_at - timedelta(seconds=30)
    answer = clearance(late.data.player, "quarry", as_happened=before.isoformat())
    assert codes(answer) == ([], ["sitting_out"])
    assert [one.position for one in answer.because] == [late.position]
    assert answer.difference == (
        f"At {before:%H:%M} the gate was right on what was recorded (cleared); the caution of {late.occurred_at:%H:%M} "
        f"(position {late.position}) arrived at {late.recorded_at:%H:%M}. As it happened: not cleared, sitting out."
    )


def test_the_gate_that_let_him_in_is_right_at_the_position_it_rested_on(events, clearance):
    late = only(events, CautionRecorded, violation="out-of-bounds")
    admitted = next(
        one
        for one in events
        if isinstance(one.data, GameStarted) and late.occurred_at < one.recorded_at < late.recorded_at
        if late.data.player in {entrant.player for entrant in one.data.entrants}
    )
    answer = clearance(late.data.player, "quarry", as_recorded=f"1:{admitted.data.basis.position}")
    assert codes(answer) == ([], ["sitting_out"])


def test_the_act_that_was_recorded_twice_stood_him_down_on_the_record_only(events, clearance):
    withdrawn = only(events, CautionVoided, cause="recorded_twice")
    again = only(events, CautionRecorded, caution=withdrawn.data.caution)
    between = again.recorded_at + (withdrawn.recorded_at - again.recorded_at) / 2
    answer = clearance(again.data.player, "fern", as_happened=between.isoformat())
    assert codes(answer) == (["stood_down", "sitting_out"], ["sitting_out"])
    assert [(one.position, one.effective_at) for one in answer.because] == [(withdrawn.position, again.occurred_at)]


def test_the_appeal_that_was_upheld_reaches_back_to_the_disputed_caution(events, clearance):
    resolved, appeal = only(events, CautionResolved), only(events, AppealDecided)
    between = resolved.recorded_at + (appeal.recorded_at - resolved.recorded_at) / 2
    answer = clearance(resolved.data.player, "birch", as_happened=between.isoformat())
    assert codes(answer) == (["ejected"], [])
    assert [one.position for one in answer.because] == [appeal.position]


def test_the_wall_at_the_end_is_the_one_that_the_read_tables_show(demo_day, events, wall, ask):
    now: datetime = events[-1].recorded_at

    async def shown(_: Log, pool: Pool) -> Any:
        memory = Memory(demo_day.park, pool)
        await memory.open(now)
        return status(await memory.bring_up_to(now), demo_day.park, memory.epoch)

    assert wall(as_recorded=f"1:{len(events)}").as_recorded == ask(shown)


def test_the_wall_while_the_handheld_was_out_of_reach_differs_by_him_alone(events, wall):
    late = only(events, CautionRecorded, violation="out-of-bounds")
    answer = wall(as_happened=(late.occurred_at + timedelta(minutes=15)).isoformat())
    assert [one.position for one in answer.late] == [late.position]
    assert {one.where for one in answer.differences} == {
        "players.cleared",
        "players.not_cleared",
        "players.sitting_out",
        "players.reasons",
    }
    assert all(one.because == (late.position,) for one in answer.differences)


def test_the_past_of_any_tags_is_read_as_plain_loops_would_read_it(demo_day, events, ask):
    plain = PastLog(demo_day.park, events, [row.leaf for row in demo_day.rows])
    random = Random(7)  # noqa: S311 - a sample, not a secret
    tags = sorted({tag for event in events for tag in event.tags})

    async def compared(log: Log, _: Pool) -> None:
        for _turn in range(20):
            some = {tag: random.randint(0, len(events)) for tag in [*random.sample(tags, 20), "park", "field:birch"]}
            happened = random.choice(events).occurred_at
            assert await log.read_at(some) == await plain.read_at(some)
            assert await log.read_at(some, happened, REACHING) == await plain.read_at(some, happened, REACHING)
            assert await log.position_at(happened) == await plain.position_at(happened)

    ask(compared)
