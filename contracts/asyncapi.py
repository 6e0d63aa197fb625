"""The AsyncAPI 3.0 document: what a park sends of its own accord, on the bus, as streams over HTTP, and to a receiver's webhook."""

from collections.abc import Iterator
from typing import Any, Final

from contracts import messages
from contracts.catalogue import EVENTS, OLD
from contracts.envelope import Data
from contracts.read import EVENT_STREAM
from contracts.reading import OpenWebhook
from contracts.reads import READS

VERSIONS: Final[dict[str, dict[int, type[Data]]]] = {
    name: {data.VERSION: data} | {version: old for (of, version), (old, _) in OLD.items() if of == name}
    for name, data in EVENTS.items()
}
"""Every type of event, with each version that a log may still hold."""
_PARK: Final = {"park": {"$ref": "#/components/parameters/park"}}


def document() -> dict[str, Any]:
    """The whole document, as JSON would have it."""
    channels = {**dict(_bus()), **dict(_streams()), "webhook": _webhook()}
    return {
        "asyncapi": "3.0.0",
        "id": "urn:fieldledger:contracts",
        "info": {
            "title": "Fieldledger: what a park sends",
            "version": "1",
            "description": (
                "Everything that a park records is published in the order of its log, from which all of it can be read again. Nothing that is "
                "heard here clears anybody: who may enter a field is asked at the gate, of the log itself. In an emergency call the emergency services."
            ),
        },
        "defaultContentType": "application/json",
        "servers": _servers(),
        "channels": channels,
        "operations": {
            f"send.{name}": {
                "action": "send",
                "channel": {"$ref": f"#/channels/{name}"},
                "summary": channel["summary"],
            }
            | _by(channel)
            for name, channel in channels.items()
        },
        "components": {
            "messages": {**_leaves(), **messages.OTHERS},
            "schemas": messages.SCHEMAS,
            "parameters": {"park": {"description": "The park's name.", "examples": ["larchmoor"]}},
            "securitySchemes": {
                "busAccount": {
                    "type": "userPassword",
                    "description": "An integrator's account, made by the park's operator: read-only, and by subject.",
                },
                "deviceKey": {"type": "http", "scheme": "bearer", "description": "The key of an enrolled device."},
            },
        },
    }


def _by(channel: dict[str, Any]) -> dict[str, Any]:
    """How one comes by a channel that is a path."""
    if "x-jetstream" in channel:
        return {}
    method = "GET" if channel["address"] else "POST"
    return {"bindings": {"http": {"method": method, "bindingVersion": "0.3.0"}}}


def _servers() -> dict[str, Any]:
    return {
        "bus": {
            "host": "{bus}:4222",
            "protocol": "nats",
            "description": "NATS. An integrator's account hears its subjects as they are published, at most once as a rule, and may ask JetStream for nothing; what it missed it reads by position, from /parks/{park}/events. The streams are named for the park's own readers.",
            "variables": {"bus": {"default": "localhost"}},
            "security": [{"$ref": "#/components/securitySchemes/busAccount"}],
        },
        "park": {
            "host": "{server}",
            "protocol": "http",
            "description": "The park's own server, as in the OpenAPI document.",
            "variables": {"server": {"default": "localhost:8000"}},
            "security": [{"$ref": "#/components/securitySchemes/deviceKey"}],
        },
        "receiver": {
            "host": "{receiver}",
            "protocol": "https",
            "description": "Whoever a webhook was opened for.",
            "variables": {"receiver": {"default": "office.larchmoor.example"}},
        },
    }


def _bus() -> Iterator[tuple[str, dict[str, Any]]]:
    """A channel a type of event, and one of the checkpoints."""
    for name, versions in VERSIONS.items():
        yield (
            name,
            {
                "address": f"park.{{park}}.{name}",
                "summary": messages.summary(EVENTS[name]),
                "servers": [{"$ref": "#/servers/bus"}],
                "parameters": _PARK,
                "messages": {
                    f"v{number}": {"$ref": f"#/components/messages/{name}.v{number}"} for number in sorted(versions)
                },
                "x-jetstream": {"stream": "PARK_{park}_{epoch}", "sequence": "the event's position in the log"},
            },
        )
    yield (
        "checkpoints",
        {
            "address": "checkpoint.{park}",
            "summary": "Every signed checkpoint, in the order of signing: keep them where the park's own staff cannot reach them.",
            "servers": [{"$ref": "#/servers/bus"}],
            "parameters": _PARK,
            "messages": {"checkpoint": {"$ref": "#/components/messages/checkpoint"}},
            "x-jetstream": {"stream": "CHECKPOINTS_{park}", "sequence": "counts them"},
        },
    )


def _streams() -> Iterator[tuple[str, dict[str, Any]]]:
    """A channel a stream of server-sent events."""
    for read in READS:
        if read.media == EVENT_STREAM:
            told = messages.STREAMS.get(read.path, {})
            yield (
                read.path.removeprefix("/parks/{park}/").replace("/", "."),
                {
                    "address": read.path,
                    "summary": read.summary,
                    "servers": [{"$ref": "#/servers/park"}],
                    "parameters": _PARK,
                    "messages": {name: {"$ref": f"#/components/messages/{one}"} for name, one in told.items()},
                },
            )


def _webhook() -> dict[str, Any]:
    """A letter goes where its webhook was opened for, which nobody knows beforehand."""
    return {
        "address": None,
        "summary": messages.summary(OpenWebhook),
        "description": "The address is the one that the webhook was opened with. Answer 2xx once the letter is kept; one that comes again bears the same `webhook-id`.",
        "servers": [{"$ref": "#/servers/receiver"}],
        "messages": {"letter": {"$ref": "#/components/messages/letter"}},
    }


def _leaves() -> dict[str, Any]:
    """A message for each version of each type of event."""
    return {
        f"{name}.v{number}": messages.leaf(name, number, data)
        for name, versions in VERSIONS.items()
        for number, data in sorted(versions.items())
    }
