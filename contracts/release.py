"""What a version of the contracts promises to those who build on it: `python -m contracts.release` writes it down, as the next version.

contracts/released/<version>.json holds it, a line a promise, without the words that explain: what later versions are held against.
"""

import json
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec

from contracts.answers import Problem, Receipt
from contracts.catalogue import COMMANDS, EVENTS, OLD
from contracts.envelope import Event
from contracts.problems import every
from contracts.read import Read
from contracts.reads import READS

FOLDER = Path(__file__).with_name("released")
_EXPLAINING = frozenset({"title", "description", "examples", "default", "discriminator"})
_PARTS_OF_PAGES = frozenset({"text/javascript", "text/css", "image/svg+xml"})
"""Nobody builds on the inside of a page."""
_SHARED = {"event": Event, "receipt": Receipt, "problem": Problem}


def promise() -> dict[str, Any]:
    """All that a reader or a writer of the present version may rely on."""
    events = {f"{name}.v{data.VERSION}": data for name, data in EVENTS.items()}
    events |= {f"{name}.v{version}": data for (name, version), (data, _) in OLD.items()}
    return {
        "commands": {
            path: {"roles": sorted(one.ROLES), "fact": one.FACT, "body": _schema(one)}
            for path, one in sorted(COMMANDS.items())
        },
        "reads": {
            f"{read.method.upper()} {read.path}": _read(read)
            for read in sorted(READS, key=lambda read: (read.path, read.method))
            if read.media not in _PARTS_OF_PAGES
        },
        "events": {name: _schema(data) for name, data in sorted(events.items())},
        "answers": {name: _schema(kind) for name, kind in _SHARED.items()},
        "problems": {kind.type_uri(): kind.status for kind in sorted(every(), key=lambda kind: kind.type_uri())},
        "types": _types([*COMMANDS.values(), *events.values(), *_SHARED.values()]),
    }


def _read(read: Read) -> dict[str, Any]:
    promised: dict[str, Any] = {"roles": None if read.roles is None else sorted(read.roles), "media": read.media}
    if read.status != 200:
        promised["status"] = read.status
    if read.answer is not None:
        promised["answer"] = _schema(read.answer)
    if read.body is not None:
        promised["body"] = _schema(read.body)
    if read.parameters:
        promised["parameters"] = {
            one.name: {"required": one.required, "schema": _schema(one.kind)} for one in read.parameters
        }
    return promised


def _types(kinds: list[Any]) -> dict[str, Any]:
    asked = [kind for read in READS for kind in (read.answer, read.body) if kind is not None]
    _, found = msgspec.json.schema_components([*kinds, *asked], ref_template="{name}")
    return {name: _plain(schema) for name, schema in sorted(found.items())}


def _schema(kind: Any) -> Any:
    (schema,), _ = msgspec.json.schema_components([kind], ref_template="{name}")
    return _plain(schema)


def _plain(schema: Any) -> Any:
    """The schema without the words that explain it."""
    if isinstance(schema, list | tuple):
        return [_plain(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    kept = {word: part for word, part in schema.items() if word not in _EXPLAINING}
    fields = schema.get("properties")
    plain = {word: _plain(part) for word, part in kept.items() if word != "properties"}
    return plain if fields is None else plain | {"properties": {name: _plain(part) for name, part in fields.items()}}


def text(promised: Mapping[str, Any]) -> str:
    """A line a promise, so that versions can be read side by side."""
    sections = (
        f'"{section}": {{\n'
        + ",\n".join(f"{json.dumps(name)}: {json.dumps(one)}" for name, one in entries.items())
        + "\n}"
        for section, entries in promised.items()
    )
    return "{\n" + ",\n".join(sections) + "\n}\n"


def released() -> dict[int, Path]:
    """The file of each version."""
    return {int(path.stem): path for path in FOLDER.glob("*.json")}


def last() -> dict[str, Any]:
    """What the last version promised."""
    files = released()
    return dict(json.loads(files[max(files)].read_text(encoding="utf-8")))


def write() -> Path:
    """Write the present promise as the next version."""
    file = FOLDER / f"{max(released(), default=0) + 1}.json"
    FOLDER.mkdir(exist_ok=True)
    file.write_text(text(promise()), encoding="utf-8")
    return file


if __name__ == "__main__":
    sys.stdout.write(f"{write()}\n")
