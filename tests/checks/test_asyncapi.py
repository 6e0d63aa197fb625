"""The AsyncAPI document against its own specification, version 3.0.0.

Outside source: `3.0.0-without-$id.json` of the package @asyncapi/specs 6.11.1 (Apache-2.0, its licence beside it in tests/checks/asyncapi), minified and
else unchanged. What a JSON Schema cannot say is checked by hand, with the object of the specification that asks for it.
"""

import copy
import json
import re
from pathlib import Path

import jsonschema
import pytest

from contracts import asyncapi, generate
from contracts.catalogue import EVENTS, OLD
from contracts.read import EVENT_STREAM
from contracts.reads import READS
from tests.unit.golden_leaves import FOLDER as GOLDEN

DOCUMENT = json.loads(generate.text(asyncapi.document()))
SPECIFICATION = json.loads(Path(__file__).with_name("asyncapi").joinpath("3.0.0.json").read_text(encoding="utf-8"))
VALIDATOR = jsonschema.Draft7Validator(SPECIFICATION)
CHANNELS, MESSAGES = DOCUMENT["channels"], DOCUMENT["components"]["messages"]


def followed(reference):
    found = DOCUMENT
    for step in reference.removeprefix("#/").split("/"):
        found = found[step]
    return found


def references(node):
    if isinstance(node, dict):
        if isinstance(node.get("$ref"), str):
            yield node["$ref"]
        for name, part in node.items():
            if name not in {"schema", "examples"}:
                yield from references(part)
    elif isinstance(node, list):
        for part in node:
            yield from references(part)


def schema_of(message, part="payload"):
    return followed(message[part]["$ref"])["schema"]


def test_the_document_is_asyncapi_3_0():
    assert [f"{list(error.absolute_path)}: {error.message}" for error in VALIDATOR.iter_errors(DOCUMENT)] == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda document: document.update(asyncapi="2.6.0"),
        lambda document: document["info"].pop("version"),
        lambda document: document["channels"]["games.game_ended"].update(subscribe={}),
        lambda document: document["operations"]["send.games.game_ended"].update(action="publish"),
        lambda document: document["operations"]["send.games.game_ended"].pop("channel"),
        lambda document: document["components"]["messages"]["checkpoint"].update(contentType=7),
        lambda document: document["servers"]["bus"].pop("protocol"),
    ],
    ids=["version", "info", "a word of 2.x", "action", "no channel", "content type", "no protocol"],
)
def test_a_document_that_is_none_is_noticed(spoil):
    spoilt = copy.deepcopy(DOCUMENT)
    spoil(spoilt)
    assert not VALIDATOR.is_valid(spoilt)


def test_every_reference_leads_somewhere():
    """Reference Object: the reference MUST be resolvable; those to files lie beside the document."""
    for reference in set(references(DOCUMENT)):
        if reference.startswith("./"):
            assert (generate.FOLDER / reference).is_file(), reference
        else:
            assert followed(reference), reference


def test_every_expression_in_an_address_is_a_parameter_and_every_parameter_is_in_it():
    """Channel Object, `parameters`: it MUST be present only when the address contains expressions, and name them all."""
    for name, channel in CHANNELS.items():
        asked = set(re.findall(r"\{(\w+)\}", channel["address"] or ""))
        assert asked == set(channel.get("parameters", {})), name


def test_every_expression_in_a_host_is_a_variable():
    """Server Object, `variables`."""
    for server in DOCUMENT["servers"].values():
        assert set(re.findall(r"\{(\w+)\}", server["host"])) == set(server["variables"])


def test_no_two_channels_have_the_same_address():
    addresses = [channel["address"] for channel in CHANNELS.values()]
    assert len(set(addresses)) == len(addresses)


def test_every_channel_has_one_operation_that_sends_into_it_and_messages():
    """Operation Object: `channel` MUST point to a Channel Object of the root."""
    into = [operation["channel"]["$ref"].removeprefix("#/channels/") for operation in DOCUMENT["operations"].values()]
    assert sorted(into) == sorted(CHANNELS)
    assert [name for name, channel in CHANNELS.items() if not channel["messages"]] == []


def test_there_is_a_channel_of_every_type_and_a_message_of_every_version():
    assert set(EVENTS) | {"checkpoints"} <= set(CHANNELS)
    told = {
        reference["$ref"].rpartition("/")[2]
        for channel in CHANNELS.values()
        for reference in channel["messages"].values()
    }
    assert {f"{name}.v{data.VERSION}" for name, data in EVENTS.items()} <= told
    assert {f"{name}.v{version}" for name, version in OLD} <= told
    assert told <= set(MESSAGES)
    assert all(CHANNELS[name]["address"] == f"park.{{park}}.{name}" for name in EVENTS)


def test_every_stream_over_http_is_a_channel():
    streams = {read.path for read in READS if read.media == EVENT_STREAM}
    assert streams <= {channel["address"] for channel in CHANNELS.values()}


@pytest.mark.parametrize("name", MESSAGES)
def test_every_message_has_an_example_that_fits_its_schema(name):
    """Message Example Object: `payload` MUST validate against the message's payload."""
    message = MESSAGES[name]
    for example in message["examples"]:
        jsonschema.Draft202012Validator(schema_of(message)).validate(example["payload"])
    if "x-json" in message:
        fits(name, json.loads(example["payload"].split("\n", 5)[5]))


def fits(name, event):
    """Whether an event's JSON is as the files say to which its message refers."""
    envelope, narrowed = MESSAGES[name]["x-json"]["allOf"]
    jsonschema.validate(event, json.loads((generate.FOLDER / envelope["$ref"]).read_text()))
    said = narrowed["properties"]
    assert (event["type"], event["version"]) == (said["type"]["const"], said["version"]["const"])
    jsonschema.validate(event["data"], json.loads((generate.FOLDER / said["data"]["$ref"]).read_text()))


@pytest.mark.parametrize("leaf", sorted(GOLDEN.glob("*.leaf")), ids=lambda path: path.stem)
def test_a_leaf_as_it_was_first_written_fits_the_message_of_its_version(leaf):
    text = leaf.read_text(encoding="utf-8")
    jsonschema.validate(text, schema_of(MESSAGES[leaf.stem]))
    fits(leaf.stem, json.loads(text.split("\n", 5)[5]))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(text.replace("leaf 1", "leaf 2"), schema_of(MESSAGES[leaf.stem]))
