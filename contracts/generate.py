"""The contracts as documents: `python -m contracts.generate` writes contracts/schemas anew.

One JSON Schema (2020-12) for each event type and version, each command, the rules, a receipt and a problem; the OpenAPI and the AsyncAPI document; and the table of rights.
"""

import json
import sys
from pathlib import Path
from typing import Any

import msgspec

from contracts import asyncapi, openapi
from contracts.answers import Problem, Receipt
from contracts.catalogue import COMMANDS, EVENTS, OLD
from contracts.envelope import Event
from contracts.examples import EXAMPLES
from contracts.rules import Rules

FOLDER = Path(__file__).with_name("schemas")
RIGHTS = "rights.txt"
_DIALECT = {"$schema": "https://json-schema.org/draft/2020-12/schema"}


def documents() -> dict[str, dict[str, Any]]:
    """Every document by its path below contracts/schemas."""
    found = {f"events/{name}.v{data.VERSION}.json": _schema(data) for name, data in EVENTS.items()}
    found |= {f"events/{name}.v{version}.json": _schema(data) for (name, version), (data, _) in OLD.items()}
    for path, command in COMMANDS.items():
        found[f"commands/{path.replace('/', '.')}.json"] = _schema(command) | {
            "examples": [EXAMPLES[command]] if command in EXAMPLES else []
        }
    return found | {
        "event.json": _schema(Event),
        "rules.json": _schema(Rules),
        "receipt.json": _schema(Receipt),
        "problem.json": _schema(Problem) | {"x-problems": openapi.document()["x-problems"]},
        "openapi.json": openapi.document(),
        "asyncapi.json": asyncapi.document(),
    }


def _schema(kind: Any) -> dict[str, Any]:
    return _DIALECT | msgspec.json.schema(kind)


def text(document: dict[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def rights() -> str:
    """Which role may use which route, a line a route: what a change of it widens or narrows is read in its diff."""
    routes = [
        (f"{method.upper()} {path}", ", ".join(route.get("x-roles", ("anybody, without a key",))))
        for path, methods in openapi.document()["paths"].items()
        for method, route in methods.items()
    ]
    return "".join(f"{route}: {roles}\n" for route, roles in sorted(routes))


def write(folder: Path = FOLDER) -> int:
    """Write every document and remove what is none; returns how many there are."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / RIGHTS).write_text(rights(), encoding="utf-8")
    wanted = {folder / path: text(document) for path, document in documents().items()}
    for stale in set(folder.rglob("*.json")) - wanted.keys():
        stale.unlink()
    for path, content in wanted.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content, encoding="utf-8")
    return len(wanted)


if __name__ == "__main__":
    sys.stdout.write(f"{write()} documents in {FOLDER}\n")
