"""The generated documents: up to date, complete, and saying what the server really takes."""

import json

import jsonschema
import msgspec
import pytest

from contracts import generate, problems
from contracts.catalogue import COMMANDS, EVENTS, OLD
from contracts.examples import EXAMPLES
from contracts.rules import DEFAULT
from tests.unit.golden_leaves import FOLDER as GOLDEN

ONLY_IN_VERDICTS = {problems.SetAsideFull, problems.DeviceRevoked, problems.LineCut, problems.NotOffline}
"""Of one line of a batch, whose answer is 200."""
DOCUMENTS = generate.documents()
OPENAPI = DOCUMENTS["openapi.json"]
RESPONSES = OPENAPI["components"]["responses"]


def test_the_committed_documents_are_what_the_contracts_say():
    """If this is red, run `python -m contracts.generate` and read what changed."""
    committed = {str(path.relative_to(generate.FOLDER)) for path in generate.FOLDER.rglob("*.json")}
    assert committed == set(DOCUMENTS)
    drifted = [
        path
        for path, document in DOCUMENTS.items()
        if (generate.FOLDER / path).read_text(encoding="utf-8") != generate.text(document)
    ]
    assert drifted == []


def test_the_committed_table_of_rights_is_what_the_contracts_say():
    """If this is red, run `python -m contracts.generate`, and read in its diff whose rights changed."""
    assert (generate.FOLDER / generate.RIGHTS).read_text(encoding="utf-8") == generate.rights()


def test_writing_removes_a_document_that_is_none(tmp_path):
    (tmp_path / "events").mkdir()
    (tmp_path / "events" / "velocity.forgotten.v1.json").write_text("{}")
    generate.write(tmp_path)
    assert not (tmp_path / "events" / "velocity.forgotten.v1.json").exists()
    assert (tmp_path / "openapi.json").exists()


@pytest.mark.parametrize("path", [path for path in DOCUMENTS if "api" not in path])
def test_every_document_is_a_valid_schema(path):
    jsonschema.Draft202012Validator.check_schema(DOCUMENTS[path])


def test_there_is_a_schema_of_every_event_type_and_of_its_old_versions():
    expected = {f"events/{name}.v{data.VERSION}.json" for name, data in EVENTS.items()}
    expected |= {f"events/{name}.v{version}.json" for name, version in OLD}
    assert {path for path in DOCUMENTS if path.startswith("events/")} == expected
    assert {"events/velocity.marker_tested.v1.json", "events/velocity.marker_tested.v2.json"} <= expected


@pytest.mark.parametrize("leaf", sorted(GOLDEN.glob("*.leaf")), ids=lambda path: path.stem)
def test_the_schema_of_an_event_takes_its_golden_bytes_and_no_field_more(leaf):
    event = json.loads(leaf.read_bytes().split(b"\n", 5)[5])
    jsonschema.validate(event, DOCUMENTS["event.json"])
    schema = DOCUMENTS[f"events/{leaf.stem}.json"]
    jsonschema.validate(event["data"], schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(event["data"] | {"colour_of_the_sky": "grey"}, schema)


@pytest.mark.parametrize("path", COMMANDS)
def test_the_schema_of_a_command_takes_its_example_and_no_field_more(path):
    example = EXAMPLES[COMMANDS[path]]
    schema = DOCUMENTS[f"commands/{path.replace('/', '.')}.json"]
    jsonschema.validate(example, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(example | {"colour_of_the_sky": "grey"}, schema)


def test_no_rule_can_waive_eye_protection():
    """A document of the rules with any such field is refused, as is any field that nobody knows."""
    rules = json.loads(msgspec.json.encode(DEFAULT))
    jsonschema.validate(rules, DOCUMENTS["rules.json"])
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(rules | {"mask_required": False}, DOCUMENTS["rules.json"])
    assert "mask" not in json.dumps(sorted(DOCUMENTS["rules.json"]["$defs"]["Rules"]["properties"]))


@pytest.mark.parametrize("path", COMMANDS)
def test_every_write_route_says_who_may_ask_and_what_it_can_answer(path):
    command = COMMANDS[path]
    route = OPENAPI["paths"][f"/parks/{{park}}/{path}"]["post"]
    assert route["x-roles"] == sorted(command.ROLES)
    assert route["x-fact"] is command.FACT
    assert set(route["responses"]) == {
        "201", "400", "401", "403", "404", "409", "413", "415", "422", "429", "500", "503",
    }  # fmt: skip


def test_every_problem_but_that_of_a_foreign_method_is_documented():
    documented = {
        uri
        for responses in [RESPONSES, *(way["responses"] for path in OPENAPI["paths"].values() for way in path.values())]
        for response in responses.values()
        for schema in [response.get("content", {}).get("application/problem+json", {}).get("schema", {})]
        for part in schema.get("allOf", ())
        for uri in part.get("properties", {}).get("type", {}).get("enum", ())
    }
    expected = set(problems.every()) - {problems.MethodNotAllowed} - ONLY_IN_VERDICTS
    assert {kind.type_uri() for kind in expected} <= documented


def test_a_fact_is_never_refused_for_its_time_or_its_standing():
    def types(kind):
        return {
            uri
            for name, response in RESPONSES.items()
            if name.startswith(kind)
            for uri in response["content"]["application/problem+json"]["schema"]["allOf"][1]["properties"]["type"][
                "enum"
            ]
        }

    assert types("command") - types("fact") == {"/problems/impossible-time", "/problems/not-cleared"}


def test_only_what_needs_no_key_says_so():
    public = {path for path, routes in OPENAPI["paths"].items() if routes.get("get", {}).get("security") == []}
    assert {"/health", "/ready"} <= public
    written = {
        path
        for path, routes in OPENAPI["paths"].items()
        if routes.get("post", {"security": None}).get("security") == []
    }
    assert written <= {"/parks/{park}/devices/enrol"}, "that one takes a code in place of a key"


def test_every_reference_in_the_document_leads_somewhere():
    text = json.dumps(OPENAPI)
    for reference in {part.partition('"')[0] for part in text.split('"$ref": "#/')[1:]}:
        target = OPENAPI
        for step in reference.split("/"):
            target = target[step]
