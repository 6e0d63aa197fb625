"""What a park really sends, on a real bus and in a real stream, is what the AsyncAPI document says."""

import asyncio
import json
import re
import time

import httpx
import jsonschema
import nats
import pytest

from contracts import asyncapi, generate
from services.core.stream import Stream
from tests.integration.receiver import receiving

pytestmark = pytest.mark.timeout(180)
DOCUMENT = json.loads(generate.text(asyncapi.document()))
CHANNELS, MESSAGES = DOCUMENT["channels"], DOCUMENT["components"]["messages"]


def validated(value, reference):
    name = reference["$ref"].rpartition("/")[2]
    jsonschema.Draft202012Validator(DOCUMENT["components"]["schemas"][name]["schema"]).validate(value)


@pytest.fixture(scope="module")
def recorded(live):
    """A park in which a little happened, one by one and many at once; its checkpoint is signed."""
    chrono = {"chrono": "chrono-a"}
    assert live.post("velocity/register-chrono", chrono).status_code == 201
    for number in range(1, 25):
        body = {"person": f"person-{number}", "age_band": 18}
        assert live.post("registration/register-person", body).status_code == 201
    assert live.post("velocity/check-chrono", chrono | {"good": True}).status_code == 201
    assert live.post("games/ask-hold", {"hold": "hold-1", "cause": "injury"}).status_code == 201
    signed = live.http.post(f"/parks/{live.park}/evidence/checkpoint", headers=live.headers())
    assert signed.status_code == 200
    return live


async def streamed(url, name, least):
    """Every message of a stream as an outsider's client gets them, once there are so many."""
    client = await nats.connect(url)
    try:
        jetstream = client.jetstream()
        async with asyncio.timeout(30):
            while True:
                try:
                    if (await jetstream.stream_info(name)).state.last_seq >= least:
                        break
                except nats.js.errors.NotFoundError:
                    pass
                await asyncio.sleep(0.1)
        last = (await jetstream.stream_info(name)).state.last_seq
        return [await jetstream.get_msg(name, seq=sequence) for sequence in range(1, last + 1)]
    finally:
        await client.close()


@pytest.fixture(scope="module")
def messages(recorded, nats_urls):
    return asyncio.run(streamed(nats_urls.service, Stream(recorded.park, 1).name, recorded.head()))


def test_every_message_on_the_bus_comes_on_the_channel_of_its_type_and_is_as_its_message_says(recorded, messages):
    assert len(messages) >= 27
    by_address = {
        channel["address"].replace("{park}", recorded.park): channel
        for channel in CHANNELS.values()
        if channel.get("x-jetstream")
    }
    for message in messages:
        text = message.data.decode()
        event = json.loads(text.split("\n", 5)[5])
        told = by_address[message.subject]["messages"][f"v{event['version']}"]["$ref"].rpartition("/")[2]
        assert told == f"{event['type']}.v{event['version']}"
        validated(text, MESSAGES[told]["payload"])
        validated(dict(message.headers), MESSAGES[told]["headers"])
        envelope, narrowed = MESSAGES[told]["x-json"]["allOf"]
        data = narrowed["properties"]["data"]["$ref"]
        jsonschema.validate(event, json.loads((generate.FOLDER / envelope["$ref"]).read_text()))
        jsonschema.validate(event["data"], json.loads((generate.FOLDER / data).read_text()))


def test_the_sequence_of_a_message_is_the_position_of_its_event_and_its_bytes_are_those_of_the_log(recorded, messages):
    assert [message.seq for message in messages] == list(range(1, len(messages) + 1))
    for message in messages:
        assert message.data == recorded.leaf(message.seq)
        assert message.data.split(b"\n")[3] == str(message.seq).encode()


def test_the_stream_has_the_name_and_the_subjects_that_the_document_says(recorded, messages):
    said = CHANNELS["velocity.chrono_checked"]
    name = said["x-jetstream"]["stream"].replace("{park}", recorded.park).replace("{epoch}", "1")
    assert name == Stream(recorded.park, 1).name
    subjects = [message.subject for message in messages]
    assert said["address"].replace("{park}", recorded.park) in subjects


def test_a_checkpoint_on_the_bus_is_as_its_message_says(recorded, nats_urls):
    said = CHANNELS["checkpoints"]
    name = said["x-jetstream"]["stream"].replace("{park}", recorded.park)
    *_, last = asyncio.run(streamed(nats_urls.service, name, 1))
    assert last.subject == said["address"].replace("{park}", recorded.park)
    validated(last.data.decode(), MESSAGES["checkpoint"]["payload"])
    validated(dict(last.headers), {"$ref": "#/components/schemas/bus-headers"})


def told(live, path, enough, seconds=20):
    """The server-sent events of a stream, by name and data, until there are enough."""
    found, late = [], time.monotonic() + seconds
    with httpx.Client(base_url=live.url, timeout=seconds) as client:
        headers = {"Authorization": f"Bearer {live.keys['everything']}"}
        with client.stream("GET", path, headers=headers) as answer:
            text = ""
            for chunk in answer.iter_text():
                text += chunk
                *whole, text = text.split("\n\n")
                for one in whole:
                    name = re.search(r"^event: (.*)$", one, re.MULTILINE)
                    data = re.search(r"^data: (.*)$", one, re.MULTILINE)
                    if data:  # one that says no name is a `message` (WHATWG HTML, 9.2.6)
                        found.append((name[1] if name else "message", json.loads(data[1])))
                if enough(found):
                    return found
                assert time.monotonic() < late, found
    raise AssertionError(found)


STREAMS = [channel for channel in CHANNELS.values() if "x-jetstream" not in channel and channel["address"]]


@pytest.mark.parametrize("channel", STREAMS, ids=lambda channel: channel["address"])
def test_what_a_stream_tells_is_as_its_messages_say(recorded, channel):
    path = channel["address"].replace("{park}", recorded.park)
    path += "?after=1:3" if path.endswith("/events/stream") else ""
    found = told(recorded, path, lambda found: {"beat"} < {name for name, _ in found})
    for name, data in found:
        validated(data, MESSAGES[channel["messages"][name]["$ref"].rpartition("/")[2]]["payload"])


def test_a_letter_to_a_webhook_is_as_its_message_says(recorded):
    with receiving() as receiver:
        opened = {"webhook": "office", "url": receiver.url, "after": "1:0"}
        assert recorded.post("reading/open-webhook", opened).status_code == 201
        receiver.until(lambda: len(receiver.positions()) >= 27)
        assert recorded.post("reading/close-webhook", {"webhook": "office"}).status_code == 201
    said = MESSAGES[CHANNELS["webhook"]["messages"]["letter"]["$ref"].rpartition("/")[2]]
    for headers, body in receiver.taken:
        validated(json.loads(body), said["payload"])
        validated({name.lower(): value for name, value in headers.items()}, said["headers"])
        for event in json.loads(body):
            schema = generate.FOLDER / f"events/{event['type']}.v{event['version']}.json"
            jsonschema.validate(event["data"], json.loads(schema.read_text()))
