"""A receipt as an example: what the record answers once a command has been carried out."""

import re
from collections.abc import Mapping
from typing import Any

from contracts.answers import Receipt
from contracts.catalogue import EVENTS, TYPES
from contracts.envelope import Command, Data, Refusal
from contracts.samples import sample


def event_of(path: str, command: type[Command]) -> type[Data] | None:
    """The event that a command comes to when it is granted: the one of its service whose name has its words, and most of its fields."""
    service, _, name = path.partition("/")
    mine = [data for data in EVENTS.values() if TYPES[data].startswith(f"{service}.") and not issubclass(data, Refusal)]
    return max(mine, key=lambda data: _likeness(name, command, data), default=None)


def _likeness(name: str, command: type[Command], data: type[Data]) -> float:
    verb, *nouns = _stems(name)
    theirs = _stems(TYPES[data].partition(".")[2])
    fields, told = set(command.__struct_fields__), set(data.__struct_fields__)
    return 3 * len({*nouns} & {*theirs}) + 2 * (verb in theirs) + len(fields & told) / len(fields | told)


def _stems(name: str) -> list[str]:
    """Words as far as their first letters: `lift` and `lifted` are one."""
    return [word[:3] for word in re.split(r"[-_]", name)]


def receipt(path: str, command: type[Command], body: Mapping[str, Any]) -> dict[str, Any]:
    """The answer to a body: its event holds what the body says, where it says it in the same words."""
    shown = {name: value for name, value in sample(Receipt).items() if name != "first"}
    if command.FIRST:
        shown["first"] = command.FIRST
    data = event_of(path, command)
    if data is not None:
        told = sample(data)
        told |= {name: value for name, value in body.items() if name in told and name != "rules"}
        shown["events"] = [shown["events"][0] | {"type": TYPES[data], "data": told}]
    return shown
