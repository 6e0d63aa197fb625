"""Who may do what: every route of the application, with every role's key alone and with none, against the committed table of rights.

The table, contracts/schemas/rights.txt, is written by `python -m contracts.generate` and read by a person: a right that is widened is a line in
its diff. Here it is held against what the server really does.
"""

import json
import re
from uuid import uuid4

import msgspec
import pytest

from contracts import generate, openapi
from contracts.catalogue import COMMANDS
from contracts.examples import EXAMPLES
from contracts.openapi import _IN_PATHS
from contracts.samples import sample
from tests.integration.live import ROLES

pytestmark = pytest.mark.timeout(120)
BATCH = "POST /parks/{park}/batch"
ANYBODY = "anybody, without a key"
TABLE = dict(
    line.rsplit(": ", 1) for line in (generate.FOLDER / generate.RIGHTS).read_text(encoding="utf-8").splitlines()
)
DOCUMENT = openapi.document()
NO_BODY = b"[]"
"""No command takes it, so that whoever is let in writes nothing."""


def filled(path, live, role):
    """A path with something in each of its places; of devices it is the one that asks."""
    known = {
        "park": live.park,
        "device": f"device-{role}",
        "schema": "velocity.marker_tested.v3.json",
        "problem": "not-cleared",
    }
    return re.sub(r"\{(\w+)\}", lambda place: str(known.get(place[1]) or sample(_IN_PATHS[place[1]])), path)


def asked(live, route, role=None):
    """The status and the problem type of an answer; of a stream without end only these are waited for."""
    method, path = route.split(" ")
    headers = {"Authorization": f"Bearer {live.keys[role]}"} if role else {}
    body = {"content": NO_BODY} if method == "POST" else {}
    with live.http.stream(method, filled(path, live, role or ROLES[0]), headers=headers, **body) as answer:
        is_problem = answer.headers["content-type"] == "application/problem+json"
        if is_problem:
            answer.read()
        return answer.status_code, answer.json()["type"] if is_problem else ""


def test_the_table_has_every_route_of_the_application_and_no_other(live):
    served = {
        f"{method} {route.path_format}"
        for route in live.running.app.routes
        for method in route.methods - {"OPTIONS", "HEAD"}
    }
    assert served == set(TABLE)


def test_the_contract_says_the_same_of_every_route_as_the_table():
    said = {
        f"{method.upper()} {path}": ", ".join(route["x-roles"]) if "x-roles" in route else ANYBODY
        for path, methods in DOCUMENT["paths"].items()
        for method, route in methods.items()
    }
    assert said == TABLE


@pytest.mark.parametrize("route", TABLE)
def test_a_role_is_let_in_exactly_where_the_table_says(live, route):
    """401 without a key and 403 for a role that is not named there; neither for one that is."""
    if TABLE[route] == ANYBODY:
        assert asked(live, route)[0] not in {401, 403}
        assert all(asked(live, route, role)[0] not in {401, 403} for role in ROLES)
        return
    assert asked(live, route) == (401, "/problems/not-authenticated")
    answers = {role: asked(live, route, role) for role in ROLES}
    let_in = ", ".join(sorted(role for role, (status, _) in answers.items() if status not in {401, 403}))
    assert let_in == TABLE[route]
    kept_out = {answer for role, answer in answers.items() if role not in TABLE[route].split(", ")}
    assert kept_out <= {(403, "/problems/not-allowed")}


@pytest.mark.parametrize("route", [route for route in TABLE if TABLE[route] != ANYBODY])
def test_a_key_that_is_none_opens_nothing(live, route):
    method, path = route.split(" ")
    headers = {"Authorization": "Bearer device-manager."}
    with live.http.stream(method, filled(path, live, "manager"), headers=headers) as answer:
        assert answer.status_code == 401


def test_a_device_of_no_role_is_let_in_nowhere(live):
    live.keys["nothing"] = live.enrol("device-nothing")
    guarded = [route for route in TABLE if TABLE[route] != ANYBODY]
    assert {asked(live, route, "nothing")[0] for route in guarded} == {403}


def test_a_screen_on_the_wall_and_a_reader_from_outside_write_nothing():
    """Common practice, no source: what hangs in public or reads along has no command. Each line of a batch is judged like its command."""
    written = [roles.split(", ") for route, roles in TABLE.items() if route.startswith("POST ") and route != BATCH]
    assert written
    assert not any({"board", "integrator"} & set(roles) for roles in written)


@pytest.mark.parametrize("role", ROLES)
def test_a_line_of_a_batch_is_no_way_around_a_right(live, role):
    """Every fact there is, as a line of its own under one role's key: 403 for each that the role may not record, and for no other."""
    facts = [path for path, command in COMMANDS.items() if command.FACT]
    lines = [
        {"key": str(uuid4()), "seq": number, "command": path, "body": EXAMPLES[COMMANDS[path]]}
        for number, path in enumerate(facts, 1)
    ]
    headers = {"Authorization": f"Bearer {live.keys[role]}", "Content-Type": "application/x-ndjson"}
    sent = b"".join(msgspec.json.encode(line) + b"\n" for line in lines)
    answer = live.http.post(f"/parks/{live.park}/batch", content=sent, headers=headers)
    *verdicts, end = map(json.loads, answer.text.splitlines())
    assert (answer.status_code, end["end"], len(verdicts)) == (200, True, len(facts))
    for path, verdict in zip(facts, verdicts, strict=True):
        if verdict.get("problem", {}).get("type") == "/problems/not-offline":
            continue
        refused = verdict["status"] == 403 and "this takes one of" in verdict["problem"]["detail"]
        assert refused is (role not in COMMANDS[path].ROLES), (path, verdict)
