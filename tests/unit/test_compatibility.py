"""What was built on the last version goes on working: each kind of break is seen, and what is allowed passes.

What a reader passes over (fields that are new to him) and what he does not (new values, fields that are gone) follows RFC 9413 §4 and
common practice; that a schema without `additionalProperties: false` allows fields it does not name is JSON Schema 2020-12, Core §10.3.2.3.
"""

import copy
import json

import jsonschema
import pytest

from contracts import release
from contracts.accepted import ACCEPTED
from contracts.compatibility import breaks
from contracts.fitting import Fitting

NOW = json.loads(release.text(release.promise()))
GATE = "GET /parks/{park}/clearance/players/{player}"


@pytest.fixture
def later():
    """The present promise, to be changed."""
    return copy.deepcopy(NOW)


def fields(promise, name):
    return named(promise, name)["properties"]


def named(promise, name):
    """A type by its name, or with its module's in front where several bear it."""
    types = promise["types"]
    return types.get(name) or next(types[one] for one in types if one.endswith(f".{name}"))


def test_nobody_who_was_built_on_the_last_version_is_broken():
    """If this is red: make it a new version, or a field that may be absent; if it is meant, put the sentence and the reason into contracts/accepted.py."""
    found = breaks(release.last(), NOW)
    assert [one for one in found if one not in ACCEPTED] == []
    assert [one for one in ACCEPTED if one not in found] == [], "accepted, but broken no longer"


def test_the_first_version_is_the_one_that_was_released():
    """What was promised is never written anew: a line of this file must not change."""
    first = json.loads(release.released()[1].read_text(encoding="utf-8"))
    assert len(first["commands"]) == 101
    assert len(first["events"]) == 120
    assert first["commands"]["games/start-game"]["roles"] == ["head_referee", "manager", "referee"]


def test_a_promise_is_written_as_it_is_read():
    assert json.loads(release.text(release.promise())) == release.promise()


def test_a_contract_that_did_not_change_breaks_nobody(later):
    assert breaks(NOW, later) == []


# what breaks a writer


def test_a_field_of_a_command_that_is_gone_breaks_its_writer(later):
    del fields(later, "StartGame")["without"]
    assert breaks(NOW, later) == ["command games/start-game: without is not known"]


def test_a_field_of_a_command_that_has_another_name_breaks_its_writer(later):
    fields(later, "StartGame")["leaving_out"] = fields(later, "StartGame").pop("without")
    assert breaks(NOW, later) == ["command games/start-game: without is not known"]


def test_a_new_field_that_a_command_must_have_breaks_its_writer(later):
    fields(later, "StartGame")["whistle"] = {"type": "string"}
    named(later, "StartGame")["required"].append("whistle")
    assert breaks(NOW, later) == ["command games/start-game: whistle may be absent"]


def test_a_field_that_could_be_left_out_and_now_must_be_there_breaks_the_writer(later):
    named(later, "StartGame")["required"].append("without")
    assert breaks(NOW, later) == ["command games/start-game: without may be absent"]


def test_a_value_that_a_command_takes_no_longer_breaks_its_writer(later):
    fields(later, "RecordOut")["cause"]["enum"].remove("eliminated")
    assert breaks(NOW, later) == ["command games/record-out: cause may be 'eliminated'"]


def test_a_type_that_a_command_takes_no_longer_breaks_its_writer(later):
    fields(later, "TakeReading")["speed_fps"]["anyOf"][0]["type"] = "integer"
    assert breaks(NOW, later) == ["command velocity/take-reading: speed_fps may be a number"]


def test_a_null_that_a_command_takes_no_longer_breaks_its_writer(later):
    branches = fields(later, "TakeReading")["speed_fps"]["anyOf"]
    branches.remove({"type": "null"})
    assert breaks(NOW, later) == ["command velocity/take-reading: speed_fps may be null"]


def test_a_range_that_became_narrower_breaks_the_writer(later):
    fields(later, "TakeReading")["speed_fps"]["anyOf"][0]["maximum"] = 500
    assert breaks(NOW, later) == ["command velocity/take-reading: speed_fps may be more than 500"]


def test_a_text_of_another_form_breaks_the_writer(later):
    fields(later, "RegisterChrono")["chrono"]["pattern"] = "^[0-9]+$"
    assert breaks(NOW, later) == ["command velocity/register-chrono: chrono may be text of another form"]


def test_a_parameter_that_must_be_there_now_or_is_gone_breaks_who_asks(later):
    asked = later["reads"][GATE]["parameters"]
    asked["language"] = {"required": True, "schema": {"type": "string"}}
    del asked["day_pass"]
    assert breaks(NOW, later) == [
        f"read {GATE}: the parameter day_pass is gone",
        f"read {GATE}: the parameter language must be there now",
    ]


def test_a_fact_that_can_be_refused_now_breaks_who_relies_on_its_being_recorded(later):
    later["commands"]["games/record-out"]["fact"] = False
    assert breaks(NOW, later) == ["command games/record-out: it is a fact no longer, and can be refused"]


# what breaks a reader


def test_a_field_of_an_answer_that_is_gone_breaks_its_reader(later):
    del fields(later, "Clearance")["cleared"]
    named(later, "Clearance")["required"].remove("cleared")
    assert f"read {GATE}: cleared may be absent" in breaks(NOW, later)


def test_a_field_that_an_answer_might_have_had_and_has_no_more_breaks_its_reader(later):
    del fields(later, "Reason")["subject"]
    assert f"read {GATE}: reasons[].subject is gone" in breaks(NOW, later)


def test_a_field_that_an_answer_may_leave_out_now_breaks_its_reader(later):
    named(later, "Clearance")["required"].remove("cleared")
    assert f"read {GATE}: cleared may be absent" in breaks(NOW, later)


def test_a_new_value_in_an_answer_breaks_who_knows_only_the_old_ones(later):
    fields(later, "Field")["state"]["enum"].append("flooded")
    assert "read GET /parks/{park}/board.json: fields.*.state may be 'flooded'" in breaks(NOW, later)


def test_a_null_that_an_answer_did_not_have_breaks_its_reader(later):
    fields(later, "Clearance")["cleared"] = {"anyOf": [{"type": "boolean"}, {"type": "null"}]}
    assert f"read {GATE}: cleared may be null" in breaks(NOW, later)


def test_an_answer_in_another_media_type_breaks_its_reader(later):
    later["reads"][GATE]["media"] = "text/plain"
    assert breaks(NOW, later) == [f"read {GATE}: it answers text/plain in place of application/json"]


def test_an_answer_under_another_status_breaks_its_reader(later):
    later["reads"][GATE]["status"] = 202
    assert breaks(NOW, later) == [f"read {GATE}: its status is 202 in place of 200"]


def test_the_receipt_and_the_problem_are_answers_too(later):
    del fields(later, "Receipt")["recorded_at"]
    named(later, "Receipt")["required"].remove("recorded_at")
    fields(later, "Problem")["status"]["type"] = "string"
    found = breaks(NOW, later)
    assert "answer receipt: recorded_at may be absent" in found
    assert "answer problem: status may be a string" in found


# what an event may not do under its version


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda data: data["properties"].update(mood={"type": "string"}), "mood is not known"),
        (lambda data: data["properties"]["chrono"].update(pattern="^x$"), "chrono may be text of another form"),
        (lambda data: data["required"].remove("chrono"), "chrono may be absent"),
        (lambda data: data["properties"].update(chrono={"enum": ["chrono-a"]}), "chrono may be a string"),
    ],
    ids=["a field more", "another form", "a field that may be absent", "fewer values"],
)
def test_an_event_that_changes_under_its_version_is_seen(later, change, sentence):
    change(named(later, "ChronoRegistered"))
    assert f"event velocity.chrono_registered.v1: {sentence}" in breaks(NOW, later)


def test_an_event_type_or_an_old_version_that_nobody_reads_any_more_is_seen(later):
    del later["events"]["velocity.marker_tested.v1"]
    assert breaks(NOW, later) == ["event velocity.marker_tested.v1: the type or version is gone"]


# what breaks both


def test_a_route_that_is_gone_is_seen(later):
    del later["commands"]["games/start-game"]
    del later["reads"][GATE]
    assert breaks(NOW, later) == ["command games/start-game: the route is gone", f"read {GATE}: the route is gone"]


def test_a_role_that_loses_a_right_is_seen(later):
    later["commands"]["games/start-game"]["roles"].remove("referee")
    later["reads"][GATE]["roles"].remove("desk")
    later["reads"]["GET /health"]["roles"] = ["manager"]
    assert breaks(NOW, later) == [
        "command games/start-game: referee may no longer",
        "read GET /health: it takes a key now",
        f"read {GATE}: desk may no longer",
    ]


def test_a_problem_that_is_gone_or_has_another_status_is_seen(later):
    del later["problems"]["/problems/contended"]
    later["problems"]["/problems/not-cleared"] = 403
    assert breaks(NOW, later) == [
        "problem /problems/contended: the type is gone",
        "problem /problems/not-cleared: its status is 403 in place of 409",
    ]


# what is allowed


def test_what_is_new_and_leaves_the_old_as_it_was_breaks_nobody(later):
    later["commands"]["games/blow-whistle"] = {"roles": ["referee"], "fact": True, "body": {"type": "object"}}
    later["reads"]["GET /parks/{park}/whistles"] = {"roles": None, "media": "application/json"}
    later["events"]["games.whistle_blown.v1"] = {"type": "object"}
    later["events"]["velocity.marker_tested.v4"] = {"type": "object"}
    later["problems"]["/problems/too-quiet"] = 422
    later["commands"]["games/start-game"]["roles"].append("staging")
    assert breaks(NOW, later) == []


def test_a_command_may_take_more_than_before(later):
    fields(later, "StartGame")["whistle"] = {"type": "string"}
    fields(later, "RecordOut")["cause"]["enum"].append("weather")
    del fields(later, "TakeReading")["speed_fps"]["anyOf"][0]["maximum"]
    assert breaks(NOW, later) == []


def test_an_answer_may_have_a_field_more_and_tell_of_fewer_values(later):
    fields(later, "Clearance")["shade"] = {"type": "string"}
    named(later, "Clearance")["required"].append("shade")
    fields(later, "Field")["state"]["enum"].remove("held")
    assert breaks(NOW, later) == []


def test_a_type_may_have_another_name(later):
    moved = json.loads(json.dumps(later).replace('"StartGame"', '"BeginGame"'))
    assert breaks(NOW, moved) == []


# the comparison itself, against an independent implementation of JSON Schema

SCHEMAS = [
    {"type": "integer"},
    {"type": "number"},
    {"type": "number", "minimum": 0, "maximum": 10},
    {"type": "integer", "exclusiveMinimum": 0},
    {"type": "string"},
    {"type": "string", "pattern": "^[a-z]+$"},
    {"enum": ["red", "blue"]},
    {"enum": ["red", None, 3]},
    {"anyOf": [{"type": "string"}, {"type": "null"}]},
    {"type": "array", "items": {"type": "integer"}},
    {"type": "array", "items": {"type": "number"}, "minItems": 1},
    {"type": "object", "additionalProperties": {"type": "integer"}},
    {"type": "object", "properties": {"a": {"type": "integer"}}, "required": ["a"], "additionalProperties": False},
    {"type": "object", "properties": {"a": {"type": "integer"}}, "required": []},
    {"type": "object", "properties": {"a": {"enum": [1]}, "b": {"type": "string"}}, "required": ["a", "b"], "additionalProperties": False},
    {},
]  # fmt: skip
VALUES = [None, True, 0, 1, 3, 11, -2, 2.5, "red", "blue", "Ash", "", [], [1], [1, 2.5], ["x"], {}, {"a": 1}, {"a": 2}, {"a": "x"},
          {"a": 1, "b": "x"}, {"b": "x"}, {"a": 1, "c": True}]  # fmt: skip


@pytest.mark.parametrize("narrow", SCHEMAS, ids=str)
@pytest.mark.parametrize("wide", SCHEMAS, ids=str)
def test_what_is_said_to_fit_does_fit(narrow, wide):
    """Of every pair that is said to fit, `jsonschema` takes each value of the one as a value of the other."""
    if Fitting({}, {}).escapes(narrow, wide) == []:
        taken = [value for value in VALUES if jsonschema.Draft202012Validator(narrow).is_valid(value)]
        assert [value for value in taken if not jsonschema.Draft202012Validator(wide).is_valid(value)] == []


@pytest.mark.parametrize("schema", SCHEMAS, ids=str)
def test_everything_fits_itself(schema):
    assert Fitting({}, {}).escapes(schema, schema) == []
