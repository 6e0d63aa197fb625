"""The rotation over HTTP, on real servers: planned, published with a change, booked over, re-planned when a field is held; and on the wall."""

from datetime import datetime, timedelta

import pytest

from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(180)
SIZES = {"kestrel": 4, "merlin": 2, "osprey": 2}


@pytest.fixture(scope="module")
def park(live):
    day = BoardDay(live)
    day.open("alder", "birch")
    armband = 0
    for group, size in SIZES.items():
        day.send("registration/register-group", {"group": group, "size": size})
        for number in range(size):
            armband += 1
            day.clear(day.arrive(f"{group}-{number}", armband, group=group))
    day.arrive("unpaid", 99)
    return live


def planned(park, role="staging"):
    answer = park.get(f"/parks/{park.park}/games/rotation", role)
    assert answer.status_code == 200, answer.text
    return answer.json()


def publish(park, plan, name, **more):
    body = {"plan": name, "position": plan["position"], "after": plan["after"], "proposed": plan["games"]} | more
    return park.post("games/publish-rotation", body, "staging", actor="staff-wren")


def parties(game):
    return {one["party"] for one in game["parties"]}


def test_the_plan_names_every_group_that_is_ready_says_why_others_wait_and_writes_nothing(park):
    before = park.head()
    plan = planned(park)
    assert parties(plan["games"][0]) == {"group:kestrel", "group:merlin", "group:osprey"}
    (waits,) = plan["waiting"]
    assert (waits["party"], waits["code"]) == ("player:unpaid", "not_ready")
    assert waits["sentence"].startswith("Player unpaid is not ready: 1 at the ")
    assert (plan["published"], plan["position"], park.head()) == (None, before, before)


def test_who_is_not_at_staging_may_neither_ask_for_it_nor_publish(park):
    assert park.get(f"/parks/{park.park}/games/rotation", "gear").status_code == 403
    plan = planned(park)
    body = {"plan": "by-gear", "position": plan["position"], "proposed": plan["games"]}
    assert park.post("games/publish-rotation", body, "gear").status_code == 403


@pytest.fixture(scope="module")
def published(park):
    """Osprey is taken out of the first game by whoever publishes."""
    plan = planned(park)
    first = plan["games"][0]
    changed = first | {"parties": [one for one in first["parties"] if one["party"] != "group:osprey"]}
    answer = publish(park, plan, "plan-1", games=[changed, *plan["games"][1:]])
    assert answer.status_code == 201, answer.text
    return answer.json()["events"][0]


def test_what_was_changed_of_the_plan_is_on_the_record_with_who_changed_it(park, published):
    assert published["type"] == "games.rotation_published"
    assert [one["party"] for one in published["data"]["overruled"]] == ["group:osprey"]
    day = published["data"]["of"]
    (told,) = park.get(f"/parks/{park.park}/audit/stories/plan/{day}", "auditor").json()["events"]
    assert told["actor"] == "staff-wren"
    assert "group osprey was proposed on" in told["sentence"]


def test_the_next_plan_keeps_what_was_published_and_the_wall_shows_it(park, published):
    plan = planned(park)
    first = plan["games"][0]
    assert (plan["published"], first["fixed"], plan["moved"]) == ("plan-1", True, [])
    assert parties(first) == {"group:kestrel", "group:merlin"}
    head = f"{plan['epoch']}:{published['position']}"
    wall = park.http.get(f"/parks/{park.park}/board.json?at_least={head}").json()
    coming = wall["fields"][first["field"]]["then"][0]
    assert (set(coming["groups"]), coming["players"]) == ({"kestrel", "merlin"}, 6)


def test_a_field_that_is_held_moves_its_groups_to_the_other(park, published):
    field = published["data"]["games"][0]["field"]
    park.post("games/ask-hold", {"hold": "h1", "field": field, "cause": "other"}, "referee")
    plan = planned(park)
    assert field not in {game["field"] for game in plan["games"]}
    assert {"group:kestrel", "group:merlin"} <= parties(plan["games"][0])
    assert {"group:kestrel", "group:merlin"} <= set(plan["moved"])


def test_a_booked_field_is_its_groups_alone_and_another_booking_then_is_refused(park, published):
    day = published["data"]["of"]
    other = next(name for name in ("alder", "birch") if name != published["data"]["games"][0]["field"])
    start = planned(park)["as_of"]
    body = {"field": other, "group": "osprey", "start": start, "end": later(start)}
    assert park.post("games/book-session", body | {"session": "s1"}, "desk").status_code == 201
    games = planned(park)["games"]
    assert parties(games[0]) == {"group:osprey"}
    assert games[0]["private"]
    refused = park.post("games/book-session", body | {"session": "s2", "group": "merlin"}, "desk")
    assert (refused.status_code, refused.json()["detail"][:10]) == (409, "Session s1")
    assert park.post("games/cancel-session", {"of": day, "session": "s1"}, "desk").status_code == 201
    assert not any(game["private"] for game in planned(park)["games"])


def later(start):
    """Fifty minutes on."""
    return (datetime.fromisoformat(start) + timedelta(minutes=50)).isoformat()
