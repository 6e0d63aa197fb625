"""Incidents over HTTP on real servers: told in any order, listed with what is missing, closed by a manager."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest

pytestmark = pytest.mark.timeout(120)


def made(response, status=201):
    assert response.status_code == status, response.text
    return response.json()


@pytest.fixture
def incident(live):
    """An incident of which a handheld tells first that the ambulance was called, half an hour ago; and whom it hurt."""
    name, player = f"incident-{uuid4()}", f"player-{uuid4()}"
    made(live.post("registration/register-person", {"person": f"person-{player}", "age_band": 18}))
    armband = live.head() % 9000 + 1
    body = {"player": player, "person": f"person-{player}", "day_pass": f"pass-{player[7:20]}", "armband": armband}
    made(live.post("registration/register-player", body))
    at = (datetime.now(UTC) - timedelta(minutes=30)).isoformat()
    made(live.post("incidents/record-help-called", {"incident": name, "occurred_at": at}, "referee"))
    return name, player


def listed(live, role="manager"):
    return made(live.get(f"/parks/{live.park}/incidents", role), 200)


def of(live, name):
    (found,) = [one for one in listed(live)["incidents"] if one["incident"] == name]
    return found


def test_what_came_first_stands_open_and_what_is_missing_shrinks_as_it_is_told(live, incident):
    name, player = incident
    assert [one["code"] for one in of(live, name)["missing"]] == ["incident", "place", "help_arrived"]
    body = {"incident": name, "kind": "injury", "field": "birch", "players": [player], "masks": ["mask-9"]}
    made(live.post("incidents/record-incident", body, "referee"))
    whom = {"incident": name, "player": player}
    made(live.post("incidents/record-injury", whom | {"part": "eye", "injury": "impact"}, "first_aider"))
    made(live.post("incidents/record-treatment", whom | {"treatment": "rinsed", "staff": "aid-1"}, "first_aider"))
    made(live.post("incidents/record-outcome", whom | {"outcome": "taken_to_hospital"}, "first_aider"))
    found = of(live, name)
    assert [one["code"] for one in found["missing"]] == [
        "sky", "witnesses", "help_arrived", "custody", "notification", "notification",
    ]  # fmt: skip
    assert [(one["code"], one["overdue"]) for one in found["reminders"]] == [("gb-notice", True), ("gb-report", False)]
    assert found["casualties"][0]["injuries"] == ["eye: impact"]


def test_the_answer_begins_with_the_emergency_services(live):
    answer = listed(live)
    assert answer["first"].startswith("If anybody is hurt, call the emergency services first")
    assert any("local law" in one for one in answer["cautions"])


def test_a_manager_hears_what_is_missing_before_he_closes_it(live, incident):
    name, _ = incident
    refused = made(live.post("incidents/close-incident", {"incident": name}, "manager"), 409)
    assert "record the incident itself" in refused["detail"]
    assert (
        live.post("incidents/close-incident", {"incident": name, "incomplete": True}, "head_referee").status_code == 403
    )
    made(live.post("incidents/close-incident", {"incident": name, "incomplete": True}, "manager"))
    assert name not in [one["incident"] for one in listed(live)["incidents"]]
    made(live.post("incidents/record-help-arrived", {"incident": name}, "desk"))
    assert of(live, name)["help"][0]["arrived_at"]


@pytest.mark.parametrize(
    ("role", "status"),
    [("manager", 200), ("head_referee", 200), ("first_aider", 200), ("auditor", 200), ("desk", 403), ("board", 403)],
)
def test_who_may_ask(live, role, status):
    assert live.get(f"/parks/{live.park}/incidents", role).status_code == status


def test_what_a_witness_stated_is_not_erased_while_the_incidents_hold_stands(live, incident):
    name, _ = incident
    witness = f"person-{uuid4()}"
    made(live.post("registration/register-person", {"person": witness, "age_band": 18}))
    made(live.post("incidents/name-witness", {"incident": name, "person": witness}, "first_aider"))
    note = {
        "person": witness,
        "entry": f"e-{uuid4()}",
        "kind": "note",
        "text": "Saw him fall.",
        "about": {"incident": name},
    }
    made(live.post("vault/keep-detail", note, "first_aider"))
    refused = made(live.post("vault/erase-person", {"person": witness}, "manager"), 409)
    assert [one["code"] for one in refused["refusal"]["reasons"]] == ["injury_hold"]
    made(live.post("vault/lift-legal-hold", {"incident": name}, "manager"))
    made(live.post("vault/erase-person", {"person": witness}, "manager"))


def test_what_was_taken_in_as_evidence_only_a_manager_releases(live, incident):
    name, _ = incident
    bottle = f"bottle-{uuid4()}"
    made(live.post("equipment/register-bottle", {"bottle": bottle, "test_due": "2031-05-09"}))
    body = {"incident": name, "bottle": bottle, "staff": "aid-1", "kept": "safe"}
    made(live.post("incidents/take-custody", body, "first_aider"))
    assert made(live.post("equipment/release-gear", {"bottle": bottle}, "gear"), 403)["detail"].endswith("release it.")
    made(live.post("equipment/release-gear", {"bottle": bottle}, "manager"))
    (evidence,) = of(live, name)["evidence"]
    assert (evidence["holder"], [one["taker"] for one in evidence["custody"]]) == (None, ["aid-1"])
    assert evidence["released_at"]


def test_the_board_shows_that_a_report_is_overdue_and_names_nobody(live, incident):
    name, player = incident
    told = {"incident": name, "player": player, "outcome": "taken_to_hospital"}
    receipt = made(live.post("incidents/record-outcome", told, "first_aider"))
    path = f"/parks/{live.park}/board.json?at_least={receipt['epoch']}:{receipt['position']}"
    (alert,) = [one for one in made(live.get(path), 200)["alerts"] if one["kind"] == "report_overdue"]
    assert name not in alert["sentence"]
    assert player not in alert["sentence"]
    assert "call the emergency services first" in alert["sentence"]


FIRST = "If anybody is hurt, call the emergency services first: the record comes after."


@pytest.mark.parametrize(
    ("command", "body"),
    [
        ("incidents/record-help-called", {}),
        ("incidents/record-injury", {"part": "eye", "injury": "impact"}),
        ("incidents/record-incident", {"kind": "near_miss"}),
    ],
)
def test_every_answer_to_whoever_tells_of_an_accident_says_to_call_first(live, command, body):
    """The receipt, its repeat, and every refusal: of a wrong body, of a wrong key."""
    whole = body | {"incident": f"incident-{uuid4()}"}
    key = {"Idempotency-Key": f'"{uuid4()}"'}
    path = f"/parks/{live.park}/{command}"
    receipt, again = (
        made(live.http.post(path, json=whole, headers=live.headers("referee") | key)) for _ in range(2)
    )  # fmt: skip
    assert receipt["first"] == again["first"] == FIRST
    assert again["repeat"] is True
    assert live.post(command, whole | {"part": 3}, "referee").json()["first"] == FIRST
    assert live.http.post(path, json=whole).json()["first"] == FIRST
    assert "first" not in made(live.post("duty/end-duty", {"staff": "nobody"}), 404)


def test_an_entry_that_was_mistyped_is_withdrawn_and_what_followed_from_it_is_listed(live, incident):
    name, player = incident
    told = {"incident": name, "player": player, "part": "knee", "injury": "graze"}
    receipt = made(live.post("incidents/record-injury", told, "referee"))
    (entry,) = [one for one in of(live, name)["entries"] if one["kind"] == "injury"]
    assert entry["entry"] == receipt["events"][0]["id"]
    body = {"incident": name, "entry": entry["entry"], "slip": "wrong_person"}
    assert live.post("incidents/withdraw-entry", body, "referee").status_code == 403
    made(live.post("incidents/withdraw-entry", body, "first_aider"))
    found = of(live, name)
    assert found["casualties"] == []
    (withdrawn,) = found["withdrawn"]
    assert withdrawn["says"] == f"player {player}, knee, graze"
    assert {one["code"] for one in withdrawn["stays"]} == {"unfit", "held"}
    made(live.post("incidents/declare-fit", {"player": player}, "first_aider"))
    lift = {"incident": name, "persons": [f"person-{player}"]}
    assert made(live.post("vault/lift-legal-hold", lift, "manager"))["events"][0]["data"]["persons"] == lift["persons"]
    assert of(live, name)["withdrawn"][0]["stays"] == []
    assert live.post("incidents/withdraw-entry", body, "first_aider").status_code == 409
