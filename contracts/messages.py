"""The messages of the AsyncAPI document: a leaf on the bus, a checkpoint, what streams tell, and a webhook's letter."""

from collections.abc import Mapping
from datetime import datetime
from inspect import cleandoc
from typing import Any, Final

import msgspec

from contracts import leaf as frames
from contracts.board import Beat, Status
from contracts.envelope import Data, Event
from contracts.samples import KEY, MOMENT, NOTE, sample

JSON_SCHEMA: Final = "application/schema+json;version=draft-2020-12"
LEAF: Final = r"^fieldledger leaf 1\n[a-z0-9][a-z0-9-]{0,31}\n[1-9][0-9]*\n[1-9][0-9]*\n-?[0-9]+\n\{[\s\S]*\}$"
"""A leaf as text: five lines, then JSON."""
SIGNED: Final = r"^[^\n]+\n[1-9][0-9]*\n[A-Za-z0-9+/]{43}=\n([^\n]+\n)*\n(— [^\n]+\n)+$"
"""A signed checkpoint as text."""


def summary(kind: type) -> str:
    """The first sentence that a class says of itself, or its name in words."""
    said = cleandoc(kind.__doc__ or "").partition("\n\n")[0].replace("\n", " ")
    name = "".join(f" {letter.lower()}" if letter.isupper() else letter for letter in kind.__name__).strip()
    return said if said and not said.startswith(f"{kind.__name__}(") else f"{name.capitalize()}."


def _schema(schema: dict[str, Any]) -> dict[str, Any]:
    return {"schemaFormat": JSON_SCHEMA, "schema": schema}


def event(name: str, version: int, data: type[Data]) -> dict[str, Any]:
    """An event's own JSON, as an example."""
    shown: dict[str, Any] = sample(Event) | {"type": name, "version": version, "id": str(KEY), "data": sample(data)}
    return shown | {"tags": [], "device": "gate-1", "actor": "staff-wren", "device_seq": 118, "clock": "corrected"}


def leaf(name: str, version: int, data: type[Data]) -> dict[str, Any]:
    """The message on the bus that one version of an event is."""
    shown = event(name, version, data)
    text = frames.frame("larchmoor", 1, 4711, MOMENT, msgspec.json.encode(shown)).decode()
    return {
        "name": f"{name}.v{version}",
        "title": f"{name}, version {version}",
        "summary": summary(data),
        "contentType": "text/plain; charset=utf-8",
        "headers": {"$ref": "#/components/schemas/bus-headers"},
        "payload": {"$ref": "#/components/schemas/leaf"},
        "x-json": {
            "allOf": [
                {"$ref": "./event.json"},
                {
                    "properties": {
                        "type": {"const": name},
                        "version": {"const": version},
                        "data": {"$ref": f"./events/{name}.v{version}.json"},
                    }
                },
            ]
        },
        "examples": [{"name": "larchmoor", "payload": text}],
    }


def _placed() -> tuple[dict[str, Any], dict[str, Any]]:
    """The JSON Schema of an event with its place in the log, and the types that it names."""
    (ref,), types = msgspec.json.schema_components([Event], ref_template="#/$defs/{name}")
    place = {
        "park": {"type": "string"},
        "epoch": {"type": "integer", "minimum": 1},
        "position": {"type": "integer", "minimum": 1},
        "recorded_at": {"type": "string", "format": "date-time"},
        "leaf_sha256": {"type": "string", "pattern": "^[0-9a-f]{64}$"},
    }
    return {
        "description": "An event and its place in the log. `data` is as ./events/<type>.v<version>.json says.",
        "allOf": [ref],
        "type": "object",
        "required": sorted(place),
        "properties": place,
    }, types


_PLACED, _TYPES = _placed()
SCHEMAS: Final[dict[str, Any]] = {
    "leaf": _schema(
        {
            "type": "string",
            "pattern": LEAF,
            "description": (
                "The bytes that the log holds, the same that every signature covers: `fieldledger leaf 1`, park, epoch, position, and "
                "recorded_at in microseconds since 1970-01-01T00:00Z, a line each; then the event's own JSON (`x-json`). "
                "Its hash is SHA-256 over a zero byte and these bytes (RFC 9162 §2.1.1)."
            ),
        }
    ),
    "bus-headers": _schema(
        {
            "type": "object",
            "description": "Of JetStream's own atomic publication. Nothing of the event stands in a header.",
            "properties": {
                "Nats-Batch-Id": {"type": "string", "pattern": "^[0-9a-f]{32}$"},
                "Nats-Batch-Sequence": {"type": "string", "pattern": "^([1-9][0-9]{0,2})$"},
                "Nats-Batch-Commit": {"const": "1"},
                "Nats-Expected-Last-Sequence": {"type": "string", "pattern": "^[0-9]+$"},
                "Nats-Expected-Stream": {"type": "string"},
            },
            "required": ["Nats-Batch-Id", "Nats-Batch-Sequence"],
            "additionalProperties": False,
        }
    ),
    "note": _schema(
        {"type": "string", "pattern": SIGNED, "description": "A signed note (C2SP signed-note, tlog-checkpoint)."}
    ),
    "status": _schema(msgspec.json.schema(Status)),
    "patch": _schema({"type": "object", "description": "A merge patch (RFC 7396) against the status before."}),
    "beat": _schema(msgspec.json.schema(Beat)),
    "place": _schema(
        {
            "type": "object",
            "required": ["epoch", "position"],
            "properties": {"epoch": {"type": "integer", "minimum": 1}, "position": {"type": "integer", "minimum": 0}},
        }
    ),
    "next-life": _schema(
        {
            "type": "object",
            "required": ["epoch", "was", "common", "lost"],
            "properties": {
                "epoch": {"type": "integer", "minimum": 2, "description": "The log's present life."},
                "was": {"type": "string", "pattern": "^[0-9]+:[0-9]+$", "description": "Where the reader stood."},
                "common": {"type": "integer", "minimum": 0, "description": "Up to here both lives are the same."},
                "lost": {
                    "type": "integer",
                    "minimum": 0,
                    "description": "How many events he was told that are no more.",
                },
            },
        }
    ),
    "placed": _schema(_PLACED | {"$defs": _TYPES}),
    "letter": _schema({"type": "array", "minItems": 1, "items": _PLACED, "$defs": _TYPES}),
    "letter-headers": _schema(
        {
            "type": "object",
            "description": "The open Standard Webhooks form. The signature is over `<webhook-id>.<webhook-timestamp>.<body>`.",
            "properties": {
                "webhook-id": {"type": "string", "description": "Names the letter: drop one that comes again."},
                "webhook-timestamp": {"type": "string", "pattern": "^[0-9]+$", "description": "Seconds since 1970."},
                "webhook-signature": {"type": "string", "pattern": "^v1,[A-Za-z0-9+/]{43}=( v1,[A-Za-z0-9+/]{43}=)*$"},
            },
            "required": ["webhook-id", "webhook-timestamp", "webhook-signature"],
        }
    ),
}


def _told(name: str, says: str, example: Any, kind: str = "application/json") -> dict[str, Any]:
    return {
        "name": name,
        "summary": says,
        "contentType": kind,
        "payload": {"$ref": f"#/components/schemas/{name}"},
        "examples": [{"name": "larchmoor", "payload": example}],
    }


def _example_of_placed(at: datetime = MOMENT) -> dict[str, Any]:
    shown: dict[str, Any] = sample(Event) | {"type": "games.hold_asked", "version": 1, "tags": ["field:birch", "park"]}
    data = {"hold": "hold-2", "fields": ["birch"], "whole_park": False, "cause": "injury"}
    place = {"park": "larchmoor", "epoch": 1, "position": 4711, "recorded_at": at.isoformat().replace("+00:00", "Z")}
    return (
        place
        | {"leaf_sha256": "5f70bf18a086007016e948b04aed3b82103a36bea41755b6cddfaf10ace3c6ef"}
        | shown
        | {"data": data}
    )


OTHERS: Final[dict[str, Any]] = {
    "checkpoint": _told("note", "A checkpoint was signed.", NOTE, "text/plain; charset=utf-8"),
    "snapshot": _told("status", "The whole status, first of all and after a gap.", sample(Status)),
    "patch": _told("patch", "What has changed since the status before.", {"fields": {"birch": {"state": "held"}}}),
    "beat": _told("beat", "Nothing has changed; the stream is alive.", sample(Beat)),
    "placed": _told("placed", "One event, in the order of the log.", _example_of_placed()),
    "place": _told(
        "place", "Nothing new that is wanted; all up to there was looked through.", {"epoch": 1, "position": 4711}
    ),
    "next-life": _told(
        "next-life",
        "The log was restored: it goes on from `common`, and what was told behind it is no more.",
        {"epoch": 2, "was": "1:4711", "common": 4600, "lost": 111},
    ),
    "letter": _told("letter", "Events in their order, signed.", [_example_of_placed()])
    | {"headers": {"$ref": "#/components/schemas/letter-headers"}},
}
STREAMS: Final[Mapping[str, Mapping[str, str]]] = {
    "/parks/{park}/board/stream": {"snapshot": "snapshot", "patch": "patch", "beat": "beat"},
    "/parks/{park}/events/stream": {"message": "placed", "beat": "place", "epoch": "next-life"},
}
"""What each stream tells, by the names of its server-sent events; one without a name is a `message`."""
