"""A marker asked about over HTTP, on real servers."""

import pytest

pytestmark = pytest.mark.timeout(120)


@pytest.fixture(scope="module")
def park(live):
    for command, body in (
        ("games/configure-field", {"field": "alder", "title": "Alder"}),
        ("games/configure-field", {"field": "rowan", "title": "Rowan", "limit_fps": 250, "limit": {"energy_j": 7.5}}),
        ("equipment/register-marker", {"marker": "m-asked", "model": "Heron"}),
        ("velocity/register-chrono", {"chrono": "c-asked"}),
        ("velocity/check-chrono", {"chrono": "c-asked", "good": True}),
        (
            "velocity/test-marker",
            {"test": "t-asked", "marker": "m-asked", "chrono": "c-asked", "readings_fps": [0, 271.5, 269, 270.2]},
        ),
    ):
        answer = live.post(command, body)
        assert answer.status_code == 201, answer.text
    return live


def asked(park, marker="m-asked", query="", role="chrono"):
    return park.get(f"/parks/{park.park}/velocity/markers/{marker}{query}", role)


def test_it_is_told_string_by_string_and_field_by_field(park):
    found = asked(park).json()
    assert found["strings"][0]["readings_fps"] == [271.5, 269, 270.2]
    assert found["strings"][0]["misreads"] == [{"kind": "no_shot", "speed_fps": 0, "after": 0}]
    lines = {one["field"]: (one["line"], one["cleared"]) for one in found["fields"]}
    assert lines["alder"] == ("Alder 285 ft/s: pass", True)
    assert lines["rowan"] == ("Rowan 7.5 J: turn down 52 ft/s", False)
    assert found["basis"]["position"] <= park.head()


def test_one_field_is_answered_with_its_judgement(park):
    (rowan,) = asked(park, query="?field=rowan").json()["fields"]
    assert (rowan["held"], rowan["limit"]) == ("271.5 ft/s", "224.6 ft/s")
    assert rowan["judgement"]["verdict"] == "turn_down"
    assert rowan["judgement"]["energy_j"] == pytest.approx(0.0016 * (271.5 * 0.3048) ** 2)
    assert rowan["reasons"][0]["code"] == "too_fast"
    assert "it must be under 224.6 ft/s (7.5 J)" in rowan["reasons"][0]["sentence"]


def test_the_present_set_up_is_what_counts(park):
    body = {"marker": "m-turned", "model": "Heron"}
    assert park.post("equipment/register-marker", body).status_code == 201
    body = {"test": "t-turned", "marker": "m-turned", "chrono": "c-asked", "readings_fps": [290, 289, 288]}
    assert park.post("velocity/test-marker", body).status_code == 201
    assert park.post("velocity/change-set-up", {"marker": "m-turned", "change": "adjuster"}).status_code == 201
    found = asked(park, "m-turned").json()
    assert (found["strings"], found["voided_by"]) == ([], "adjuster")


@pytest.mark.parametrize(
    ("marker", "query", "status"),
    [("nobody-s", "", 404), ("m-asked", "?field=nowhere", 404), ("-", "", 400), ("m-asked", "?field=-", 400)],
)
def test_what_is_not_known_says_so(park, marker, query, status):
    answer = asked(park, marker, query)
    assert answer.status_code == status
    assert answer.json()["detail"]


@pytest.mark.parametrize(
    ("role", "status"), [("auditor", 200), ("referee", 200), ("gear", 200), ("desk", 403), ("board", 403)]
)
def test_whoever_works_with_markers_may_ask(park, role, status):
    assert asked(park, role=role).status_code == status
