"""Passes over HTTP: handed out, printed by the desk, and taken wherever a pass is shown, or refused with the reason."""

import stat
from datetime import timedelta

import msgspec
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from contracts.passes import PassKeys, read_pass, write_pass
from services.registration.passes.keyring import Keyring

pytestmark = pytest.mark.timeout(120)
DESK = "registration"


@pytest.fixture(scope="module")
def park(live):
    for number, person in enumerate(("ada", "bo", "cy"), 14):
        register = {"player": f"{person}-sat", "person": person, "day_pass": f"LX-{number}", "armband": number}
        for command, body in (("person", {"person": person, "age_band": 18}), ("player", register)):
            assert live.post(f"{DESK}/register-{command}", body).status_code == 201
    return live


def keys(park):
    answer = park.http.get(f"/parks/{park.park}/passes/keys")
    assert answer.status_code == 200
    return msgspec.json.decode(answer.content, type=PassKeys)


def scanned(park, code, days=0):
    """What a scanner reads off a pass that this park printed, of today or some days from it."""
    return park.running.app.state.passes[park.park].text(code, keys(park).day + timedelta(days=days))


def found(park, shown):
    return _get(park, f"{DESK}/players", "gear", day_pass=shown)


def _get(park, path, role, **query):
    key = {"Authorization": f"Bearer {park.keys[role]}"}
    return park.http.get(f"/parks/{park.park}/{path}", params=query, headers=key)


def test_anybody_may_have_the_public_keys_and_checks_a_pass_with_them_alone(park):
    known = keys(park)
    assert known.park == park.park
    assert read_pass(scanned(park, "LX-14"), known.park, known.day, known.keys) == "LX-14"


def test_the_private_key_lies_outside_the_database_for_this_account_alone(park):
    file = park.running.app.state.outside / f"pass-keys-{park.park}.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    seed = msgspec.json.decode(file.read_bytes())[-1]["seed"]
    assert seed not in park.http.get(f"/parks/{park.park}/passes/keys").text


def test_a_scanned_pass_and_its_bare_code_name_the_same_player(park):
    assert found(park, scanned(park, "LX-14")).json() == found(park, "LX-14").json()
    assert found(park, scanned(park, "LX-14")).json()["player"] == "ada-sat"


def test_the_gate_takes_a_scanned_pass_and_one_of_somebody_else_is_a_reason(park):
    park.post("games/configure-field", {"field": "birch", "title": "Birch", "limit_fps": 285})
    own = _get(park, "clearance/players/ada-sat", "referee", field="birch", day_pass=scanned(park, "LX-14"))
    other = _get(park, "clearance/players/ada-sat", "referee", field="birch", day_pass=scanned(park, "LX-15"))
    assert "pass_unknown" not in {one["code"] for one in own.json()["reasons"]}
    assert "pass_unknown" in {one["code"] for one in other.json()["reasons"]}


@pytest.mark.parametrize("path", [f"{DESK}/players", "clearance/players/ada-sat"])
@pytest.mark.parametrize(
    ("kind", "status"),
    [
        ("not-genuine", 422), ("key-unknown", 422), ("expired", 422), ("not-yet-valid", 422), ("of-another-park", 422),
    ],
)  # fmt: skip
def test_each_wrong_pass_is_refused_with_its_problem_and_says_what_to_do(park, path, kind, status):
    strange = Ed25519PrivateKey.generate()
    texts = {
        "not-genuine": lambda: scanned(park, "LX-14")[:-1] + "7",
        "key-unknown": lambda: write_pass(strange, park.park, keys(park).day, "LX-14"),
        "expired": lambda: scanned(park, "LX-14", -1),
        "not-yet-valid": lambda: scanned(park, "LX-14", 1),
        "of-another-park": lambda: _sisters(park),
    }
    answer = _get(park, path, "referee", field="birch", day_pass=texts[kind]()) if "clearance" in path else None
    answer = answer or found(park, texts[kind]())
    assert (answer.status_code, answer.json()["type"]) == (status, f"/problems/pass-{kind}")
    assert any(word in answer.json()["detail"] for word in ("desk", "scan"))


def _sisters(park):
    """A pass of a park that this process keeps too."""
    rings = park.running.app.state.passes
    rings.setdefault("larchmoor-north", Keyring(park.running.app.state.outside, "larchmoor-north"))
    return rings["larchmoor-north"].text("LX-14", keys(park).day)


def test_a_replaced_pass_is_refused_when_it_is_scanned_and_is_a_reason_at_the_gate(park):
    old = scanned(park, "LX-15")
    assert (
        park.post(f"{DESK}/reissue-pass", {"player": "bo-sat", "day_pass": "LX-25", "fault": "lost"}).status_code == 201
    )
    answer = found(park, old)
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/pass-replaced")
    gate = _get(park, "clearance/players/bo-sat", "referee", field="birch", day_pass=old).json()
    assert "pass_replaced" in {one["code"] for one in gate["reasons"]}
    assert found(park, scanned(park, "LX-25")).json()["player"] == "bo-sat"


def test_a_sheet_has_a_card_for_each_player_in_order_with_number_park_day_and_cautions_and_names_nobody(park):
    answer = _get(park, f"{DESK}/pass-sheet", "desk", players="cy-sat,ada-sat")
    page = answer.text
    assert answer.headers["content-type"].startswith("text/html")
    assert page.count('<article class="pass">') == page.count("<svg ") == 2
    assert page.index("</small>16<") < page.index("</small>14<")
    assert page.count(park.park) >= 2
    assert page.count(keys(park).day.isoformat()) == 2
    assert page.count("Eye protection on, always, inside the netting.") == 2
    assert "cy-sat" not in page
    assert ">cy<" not in page


def test_a_single_pass_is_a_picture(park):
    answer = _get(park, f"{DESK}/pass.svg", "desk", player="ada-sat")
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert answer.content.startswith(b"<?xml")
    assert b"ada" not in answer.content


@pytest.mark.parametrize(
    ("path", "query", "status"),
    [
        ("pass.svg", {"player": "nobody"}, 404), ("pass.svg", {}, 400), ("pass-sheet", {"players": "ada-sat,,"}, 400),
        ("pass-sheet", {"players": "ada-sat,ada-sat"}, 422), ("pass-sheet", {"players": "ada-sat,nobody"}, 404),
    ],
)  # fmt: skip
def test_what_cannot_be_printed_says_why(park, path, query, status):
    answer = _get(park, f"{DESK}/{path}", "desk", **query)
    assert answer.status_code == status
    assert answer.json()["detail"]


@pytest.mark.parametrize("role", ["gear", "referee", "auditor", "integrator", "board"])
def test_nobody_but_desk_and_manager_prints_passes(park, role):
    assert _get(park, f"{DESK}/pass.svg", role, player="ada-sat").status_code == 403
    assert _get(park, f"{DESK}/pass-sheet", role, players="ada-sat").status_code == 403


def test_a_manager_renews_the_key_and_passes_of_today_hold_unless_it_was_stolen(park):
    old, before = scanned(park, "LX-14"), keys(park).keys[-1]
    headers = park.headers("manager")
    answer = park.send(f"{DESK}/renew-pass-key", b'{"cause":"routine"}', headers)
    assert answer.status_code == 201, answer.text
    (event,) = answer.json()["events"]
    assert (event["type"], event["data"]["replaces"]) == ("registration.pass_key_renewed", before.id)
    assert event["data"]["key"] == keys(park).keys[-1].id != before.id
    assert found(park, old).status_code == found(park, scanned(park, "LX-14")).status_code == 200
    again = park.send(f"{DESK}/renew-pass-key", b'{"cause":"routine"}', headers)
    assert (again.json()["repeat"], len(keys(park).keys)) == (True, 2)
    newer = scanned(park, "LX-14")
    assert park.post(f"{DESK}/renew-pass-key", {"cause": "stolen"}, "manager").status_code == 201
    assert found(park, newer).json()["type"] == "/problems/pass-not-genuine"
    assert found(park, scanned(park, "LX-14")).status_code == 200


def test_the_desk_does_not_renew_the_key(park):
    known = keys(park)
    assert park.post(f"{DESK}/renew-pass-key", {"cause": "stolen"}, "desk").status_code == 403
    assert keys(park) == known


@pytest.mark.parametrize(
    "shown",
    ["", " ", "\x00", "FLDP", "x" * 65, "FLDP" + "A" * 5000, "\u017f" * 70, "FLDP" + "7" * 112, "\U0001f39f" * 80],
)
@pytest.mark.parametrize("path", [f"{DESK}/players", "clearance/players/ada-sat"])
def test_whatever_is_shown_is_answered_with_a_sentence(park, path, shown):
    answer = _get(park, path, "gear", field="birch", day_pass=shown) if "clearance" in path else found(park, shown)
    assert answer.status_code in {400, 404, 422} or "pass_unknown" in answer.text
    assert answer.headers["content-type"].startswith("application/")


@pytest.mark.parametrize("query", ["players=", "players=ada-sat,ada-sat", "field=nowhere", "field="])
def test_the_desks_list_is_answered_whatever_field_is_named(park, query):
    answer = park.get(f"/parks/{park.park}/{DESK}/desk-list?{query}", "desk")
    assert answer.status_code == 200
    assert answer.json()["waiver"] == "w1"


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("players=nobody", 404),
        ("players=,", 400),
        ("players=ada-sat&players=bo-sat", 400),
        ("field=a b", 400),
        ("after=9", 400),
        ("after=1:99999", 422),
    ],
)
def test_the_desks_list_says_what_does_not_fit(park, query, status):
    answer = park.get(f"/parks/{park.park}/{DESK}/desk-list?{query}", "desk")
    assert (answer.status_code, bool(answer.json()["detail"])) == (status, True)
