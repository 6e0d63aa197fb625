"""A player is found by what a station can see of him."""

import pytest

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(scope="module")
def park(live):
    for command, body in (
        ("register-person", {"person": "ada", "age_band": 18}),
        ("register-player", {"player": "ada-sat", "person": "ada", "day_pass": "LX-1", "armband": 14}),
        ("reissue-pass", {"player": "ada-sat", "day_pass": "LX-2", "fault": "lost"}),
    ):
        assert live.post(f"registration/{command}", body).status_code == 201
    return live


def found(park, query, role="gear"):
    return park.get(f"/parks/{park.park}/registration/players?{query}", role)


def test_by_armband_and_by_pass_it_is_the_same_player(park):
    by_armband = found(park, "armband=14").json()
    assert by_armband == found(park, "day_pass=LX-2").json()
    assert (by_armband["player"], by_armband["replaced"]) == ("ada-sat", False)


def test_an_old_pass_says_that_it_was_replaced(park):
    assert found(park, "day_pass=LX-1").json()["replaced"] is True


@pytest.mark.parametrize(
    ("query", "status"),
    [("armband=15", 404), ("day_pass=none", 404), ("", 400), ("armband=14&day_pass=LX-1", 400), ("armband=x", 400)],
)
def test_what_names_nobody_says_so(park, query, status):
    answer = found(park, query)
    assert answer.status_code == status
    assert answer.json()["detail"]


def test_the_board_may_not_ask(park):
    assert found(park, "armband=14", "board").status_code == 403
