"""The chronographs over HTTP, on real servers: whether each can be trusted, and what became of the markers that it measured."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime

import pytest

pytestmark = pytest.mark.timeout(180)
REFERENCE = (280.0, 280.0, 280.0)


def check(park, chrono, off):
    readings = [one + off for one in REFERENCE]
    body = {"chrono": chrono, "readings_fps": readings, "reference_fps": REFERENCE}
    answer = park.post("velocity/check-chrono", body)
    assert answer.status_code == 201, answer.text
    return answer.json()["events"][0]["data"]


def shoot(park, marker, chrono, *readings):
    body = {
        "test": f"t-{marker}-{chrono}",
        "marker": marker,
        "chrono": chrono,
        "readings_fps": readings,
        "sealed": True,
    }
    assert park.post("velocity/test-marker", body).status_code == 201


@pytest.fixture(scope="module")
def park(live):
    """Two chronographs and six hired markers that both measured, the last one held by armband 14; bench-1 reads 4 ft/s low."""
    for command, body in (
        ("games/configure-field", {"field": "birch", "title": "Birch", "limit_fps": 285, "stop_limit_fps": 300}),
        ("velocity/register-chrono", {"chrono": "bench-1"}),
        ("velocity/register-chrono", {"chrono": "bench-2"}),
        ("registration/register-person", {"person": "ada", "age_band": 18}),
        ("registration/register-player", {"player": "ada-sat", "person": "ada", "day_pass": "LX-1", "armband": 14}),
    ):
        assert live.post(command, body).status_code == 201
    assert check(live, "bench-1", 0)["good"]
    assert check(live, "bench-2", 0)["good"]
    for number, high in enumerate((278, 276, 282, 283, 279, 280)):
        marker = f"m{number}"
        assert live.post("equipment/register-marker", {"marker": marker, "model": "Heron"}).status_code == 201
        off = 4 + number % 2
        shoot(live, marker, "bench-2", high + off - 2, high + off - 3, high + off - 6)
        shoot(live, marker, "bench-1", high, high - 1, high - 4)
    assert live.post("equipment/issue-gear", {"player": "ada-sat", "marker": "m3"}).status_code == 201
    return live


def asked(park, path="", role="referee", status=200):
    answer = park.get(f"/parks/{park.park}/velocity/chronos{path}", role)
    assert answer.status_code == status, answer.text
    return answer.json()


def test_both_are_listed_with_when_to_check_them_again(park):
    found = {one["chrono"]: one for one in asked(park)["chronos"]}
    assert set(found) == {"bench-1", "bench-2"}
    assert found["bench-2"]["trusted"]
    assert found["bench-2"]["good_until"] > found["bench-2"]["checked_at"]


def test_the_one_that_disagrees_is_found_closed_and_its_markers_are_told_apart(park):
    (before,) = asked(park, "/bench-1")["disagreements"]
    assert (before["other"], before["n"], "against" in before) == ("bench-2", 6, False)
    assert before["bias_fps"] == pytest.approx(-2.5)

    assert check(park, "bench-1", -4)["signals"] == ["bias", "shewhart", "ewma"]

    found = asked(park, "/bench-1")
    assert (found["trusted"], found["doubt"]) == (False, "closed")
    assert found["sentence"].startswith("Out of control: it is further off than the rule allows")
    assert [one["bias_fps"] for one in found["checks"]] == [0, -4]
    assert found["disagreements"][0]["against"] == "bench-1"
    markers = {one["marker"]: one for one in found["markers"]}
    reach = {name for name, one in markers.items() if one["treatment"] == "reaches_limit"}
    assert reach == {"m2", "m3"}
    assert {one["treatment"] for name, one in markers.items() if name not in reach} == {"retest"}
    assert (markers["m3"]["holder"], markers["m3"]["armband"], markers["m3"]["not_cleared_for"]) == (
        "ada-sat",
        14,
        ["birch"],
    )


def test_the_board_tells_of_it_while_it_is_closed(park):
    board = park.http.get(f"/parks/{park.park}/board.json?at_least=1:{park.head()}").json()
    (alert,) = (one for one in board["alerts"] if one["kind"] == "chrono_closed")
    assert alert["sentence"] == (
        "Chronograph bench-1 is out of control: measure on another. Markers measured on it since its last good check: 6."
    )


def test_worked_on_and_checked_again_it_is_trusted(park):
    assert park.post("velocity/adjust-chrono", {"chrono": "bench-1", "work": "settings"}).status_code == 201
    assert asked(park, "/bench-1")["doubt"] == "worked_on"
    check(park, "bench-1", 0)
    assert not park.http.get(f"/parks/{park.park}/board.json?at_least=1:{park.head()}").json()["alerts"]
    found = asked(park, "/bench-1")
    assert (found["trusted"], len(found["works"]), len(found["checks"])) == (True, 1, 1)


def test_who_may_not_watch_is_refused_and_what_is_not_there_is_said(park):
    assert asked(park, "", "desk", 403)["detail"]
    assert "bench-9" in asked(park, "/bench-9", status=404)["detail"]
    assert asked(park, "/-9", status=400)["detail"]


def test_checks_that_come_at_once_are_judged_one_after_the_other(park):
    """Of eight that are two sigma low the moving mean closes it from the third on, whichever that is: none is judged as if it were alone."""
    assert park.post("velocity/register-chrono", {"chrono": "bench-3"}).status_code == 201
    at = datetime.now(UTC).isoformat()
    body = {"chrono": "bench-3", "readings_fps": [278.4] * 3, "reference_fps": REFERENCE, "occurred_at": at}
    with ThreadPoolExecutor(8) as together:
        answers = list(together.map(lambda _: park.post("velocity/check-chrono", body), range(8)))
    found = sorted((one.json()["position"], one.json()["events"][0]["data"]["signals"]) for one in answers)
    assert [signals for _, signals in found] == [[], [], *[["ewma"]] * 6]
