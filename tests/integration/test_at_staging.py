"""Who stands at staging, over HTTP: as of everything that was recorded, for whoever calls games."""

import pytest

from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(scope="module")
def day(live):
    day = BoardDay(live)
    day.open("birch")
    return day


def at_staging(day, role="staging"):
    path = f"/parks/{day.live.park}/games/at-staging?at_least=1:{day.live.head()}"
    answer = day.live.get(path, role)
    assert answer.status_code == 200, answer.text
    return {one["player"]: one for one in answer.json()["players"]}


def test_what_was_just_recorded_is_in_the_answer(day):
    (player,) = day.players(1)
    assert at_staging(day)[player]["cleared"] is True
    day.send("incidents/record-unfit", {"player": player, "cause": "medical"})
    found = at_staging(day)[player]
    assert [(one["code"], one["where"]) for one in found["reasons"]] == [("unfit", "first aid")]
    assert "cleared" not in found


def test_whoever_leaves_is_gone_from_the_answer(day):
    (player,) = day.players(1, first=20)
    assert player in at_staging(day)
    day.send("registration/record-left", {"player": player})
    assert player not in at_staging(day)


@pytest.mark.parametrize(
    ("role", "status"),
    [("staging", 200), ("referee", 200), ("head_referee", 200), ("manager", 200), ("desk", 403), ("board", 403)],
)
def test_who_may_ask(day, role, status):
    assert day.live.get(f"/parks/{day.live.park}/games/at-staging", role).status_code == status
