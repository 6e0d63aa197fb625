"""A slip of the finger in a date stops neither the wall nor the plan: no game is planned for another day, and no session booked for the past or the far future."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from msgspec.structs import replace

from contracts.games import BookSession
from contracts.problems import RuleForbids
from services.board.rotation import rotation
from tests.unit.board_view import at_hand
from tests.unit.scenario import NINE
from tests.unit.test_rotation_board import made, park, publish

__all__ = ["park"]
FIRST = datetime.min.replace(tzinfo=timezone(timedelta(hours=14)))
LAST = datetime.max.replace(tzinfo=UTC)


@pytest.mark.parametrize("start", [FIRST, NINE - timedelta(days=2), NINE + timedelta(days=2), LAST])
def test_a_plan_with_a_game_on_another_day_is_refused_and_the_one_before_stands(park, start):
    plan = made(park)
    publish(park, plan)
    with pytest.raises(RuleForbids, match="more than a day from now"):
        publish(park, plan, (replace(plan.games[0], start=start),), "plan-2")
    assert rotation(at_hand(park), "larchmoor", 1).published == "plan-1"


def session(start):
    return BookSession(session="s1", field="birch", group="kestrel", start=start, end=start + timedelta(hours=1))


@pytest.mark.parametrize(
    "start", [FIRST, NINE - timedelta(hours=2), NINE + timedelta(days=800), LAST - timedelta(hours=1)]
)
def test_a_session_that_is_over_or_years_ahead_is_refused(park, start):
    with pytest.raises(RuleForbids, match="later than now, and within two years"):
        park.when(session(start))


def test_a_session_that_has_begun_or_is_next_year_is_booked(park):
    (begun,) = park.when(session(NINE - timedelta(minutes=5)))
    (later,) = park.when(replace(session(NINE + timedelta(days=365)), session="s2"))
    assert (begun.of, later.of) == (NINE.date(), (NINE + timedelta(days=365)).date())
