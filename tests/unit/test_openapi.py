"""The OpenAPI document against its own specification, and every example in it against the schema beside it.

Outside sources: OpenAPI 3.1.0 by `openapi-spec-validator`, JSON Schema 2020-12 by `jsonschema`; RFC 9457 §3.1 for the members of a problem.
"""

import json

import jsonschema
import msgspec
import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from contracts import generate, openapi, problems
from contracts.catalogue import COMMANDS, EVENTS
from contracts.documents import all_described
from contracts.read import EVENT_STREAM, JSON, Read
from contracts.reasons import REASONS
from contracts.receipts import event_of

DOCUMENT = json.loads(generate.text(openapi.document()))
PROBLEM_JSON = "application/problem+json"
ROUTES = [
    (f"{method} {path}", route) for path, methods in DOCUMENT["paths"].items() for method, route in methods.items()
]


def resolved(node):
    while "$ref" in node:
        found = DOCUMENT
        for step in node["$ref"].removeprefix("#/").split("/"):
            found = found[step]
        node = found
    return node


def fits(value, schema):
    jsonschema.Draft202012Validator(
        {"components": DOCUMENT["components"], "allOf": [schema]},
        format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER,
    ).validate(value)


def media_of(routes):
    """Every media type object of bodies and answers, with where it stands."""
    for name, route in routes:
        bodies = [("asked", route["requestBody"])] if "requestBody" in route else []
        for where, holder in [*bodies, *route["responses"].items()]:
            for media, content in resolved(holder).get("content", {}).items():
                yield f"{name} {where}", media, content


MEDIA = list(media_of(ROUTES))


def test_the_document_is_openapi_3_1():
    assert [str(error) for error in OpenAPIV31SpecValidator(DOCUMENT).iter_errors()] == []


def test_a_document_that_is_none_would_be_noticed():
    broken = DOCUMENT | {"paths": {"no-slash": {}}, "info": {}}
    assert list(OpenAPIV31SpecValidator(broken).iter_errors())


def test_every_body_and_every_json_answer_has_an_example_that_fits_its_schema():
    wanted = [one for one in MEDIA if one[1] == JSON or one[0].endswith(" asked")]
    assert [where for where, _, content in wanted if "example" not in content] == []
    for where, _, content in wanted:
        if content["schema"]:
            try:
                fits(content["example"], content["schema"])
            except jsonschema.ValidationError as error:
                pytest.fail(f"{where}: {error.message}")


def test_every_refusal_shows_an_example_of_each_problem_type_behind_it():
    refusals = [(where, content) for where, media, content in MEDIA if media == PROBLEM_JSON]
    assert len(refusals) > len(ROUTES)
    for where, content in refusals:
        types = set(content["schema"]["allOf"][1]["properties"]["type"]["enum"])
        shown = [resolved(example)["value"] for example in content["examples"].values()]
        assert {value["type"] for value in shown} == types, where


def test_an_example_of_a_problem_fits_the_schema_of_every_refusal_that_shows_it():
    told = {json.dumps(content, sort_keys=True): content for _, media, content in MEDIA if media == PROBLEM_JSON}
    for content in told.values():
        for example in content["examples"].values():
            fits(resolved(example)["value"], content["schema"])


def test_an_example_that_does_not_fit_would_be_noticed():
    schema = DOCUMENT["paths"]["/parks/{park}/velocity/register-chrono"]["post"]["responses"]["201"]["content"]
    receipt = schema[JSON]["example"] | {"position": "first"}
    with pytest.raises(jsonschema.ValidationError):
        fits(receipt, schema[JSON]["schema"])


@pytest.mark.parametrize("path", COMMANDS)
def test_the_example_of_a_commands_answer_holds_an_event_of_its_service_that_fits(path):
    route = DOCUMENT["paths"][f"/parks/{{park}}/{path}"]["post"]
    (event,) = route["responses"]["201"]["content"][JSON]["example"]["events"]
    assert event["type"].partition(".")[0] == path.partition("/")[0]
    jsonschema.validate(event["data"], msgspec.json.schema(EVENTS[event["type"]]))


@pytest.mark.parametrize(
    ("path", "event"),
    [
        ("games/ask-hold", "games.hold_asked"),
        ("games/end-game", "games.game_ended"),
        ("park/record-flash", "park.flash_seen"),
        ("equipment/issue-gear", "equipment.gear_issued"),
        ("discipline/caution", "discipline.caution_recorded"),
    ],
)
def test_the_event_of_an_example_is_the_one_that_the_command_comes_to(path, event):
    assert event_of(path, COMMANDS[path]) is EVENTS[event]


@pytest.mark.parametrize("kind", problems.every(), ids=lambda kind: kind.__name__)
def test_every_problem_type_says_what_it_means_and_what_to_do(kind):
    """RFC 9457 §3.1: `type` names it, `title` is its summary, `status` the answer's own."""
    assert 400 <= kind.status < 600
    assert kind.title
    assert not kind.title.endswith(".")
    for sentence in (kind.remedy, kind.sample):
        assert sentence.endswith((".", ")", "/…")), (kind.__name__, sentence)
    assert kind.remedy not in {other.remedy for other in problems.every() if other is not kind}


def test_the_table_of_problems_stands_in_the_document_once_and_whole():
    assert DOCUMENT["x-problems"] == json.loads(msgspec.json.encode(all_described().problems))
    assert [one["type"] for one in DOCUMENT["x-problems"]] == sorted(kind.type_uri() for kind in problems.every())
    assert len({one["type"] for one in DOCUMENT["x-problems"]}) == len(problems.every())


def test_every_reason_for_a_no_is_listed_with_its_sentence_and_where_it_is_cleared():
    """A kiosk that speaks another language goes by the code, so all codes must be somewhere."""
    listed = {one["code"]: (one["sentence"], one["where"]) for one in DOCUMENT["x-reasons"]}
    assert listed == {code: tuple(entry) for code, entry in REASONS.items()}


def test_operations_have_names_of_their_own_and_a_summary():
    names = [route["operationId"] for _, route in ROUTES]
    assert len(set(names)) == len(names), sorted(name for name in names if names.count(name) > 1)
    assert [where for where, route in ROUTES if not route.get("summary")] == []


def test_the_table_of_rights_names_every_route_once():
    lines = generate.rights().splitlines()
    assert [line.partition(": ")[0] for line in lines] == sorted(
        f"{method.upper()} {path}" for path, methods in DOCUMENT["paths"].items() for method in methods
    )
    assert "POST /parks/{park}/registration/ban-person: manager" in lines
    assert "GET /health: anybody, without a key" in lines


def test_an_answer_without_end_is_said_to_be_text_of_events():
    streams = [where for where, media, _ in MEDIA if media == EVENT_STREAM]
    assert streams
    assert all(where.startswith("get ") for where in streams)


def test_a_reading_route_may_show_an_answer_of_its_own():
    shown = openapi._read(Read(path="/x", summary="x", roles=None, example={"a": 1}))  # what a route of no type says
    assert shown["responses"]["200"]["content"][JSON]["example"] == {"a": 1}
