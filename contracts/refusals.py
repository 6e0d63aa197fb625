"""How refusals stand in the OpenAPI document: one response a status, which names the problem types behind it and shows each."""

from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Any

from contracts import problems
from contracts.answers import Problem, Receipt
from contracts.games import StartRefused
from contracts.problems import Refused
from contracts.samples import sample

PROBLEM_JSON = "application/problem+json"
_WHERE: Mapping[type[Refused], str] = {
    problems.InvalidBody: "armband",
    problems.InvalidParameter: "field",
    problems.UnknownSubject: "marker:marker-99",
    problems.AlreadyRecorded: "caution:caution-5",
    problems.PositionAhead: "at_least",
    problems.PositionLost: "after",
}


def example(kind: type[Refused]) -> dict[str, Any]:
    """A problem of this type, whole."""
    shown: dict[str, Any] = {
        "type": kind.type_uri(),
        "title": kind.title,
        "status": kind.status,
        "detail": kind.sample or f"{kind.title}.",
        "instance": "/parks/larchmoor/games/start-game",
    }
    if kind in _WHERE:
        shown["where"] = _WHERE[kind]
    if kind is problems.PositionLost:
        shown["resume"] = "1:4600"
    if kind is problems.NotCleared:
        shown |= {"refusal": sample(StartRefused), "receipt": _receipt()}
    return shown


def _receipt() -> Any:
    receipt = sample(Receipt)
    receipt["events"][0] |= {"type": "games.start_refused", "data": sample(StartRefused)}
    return receipt


def name(kind: type[Refused]) -> str:
    """The last part of a problem's type."""
    return kind.type_uri().rpartition("/")[2]


def examples() -> dict[str, Any]:
    """Every problem type's example, by its name; responses refer to them."""
    return {
        name(kind): {"summary": kind.title, "description": kind.remedy, "value": example(kind)}
        for kind in sorted(problems.every(), key=name)
    }


def responses(refusals: Iterable[type[Refused]]) -> dict[str, Any]:
    """One response a status."""
    ordered = sorted(dict.fromkeys(refusals), key=lambda refusal: refusal.status)
    return {str(status): _response(status, list(group)) for status, group in groupby(ordered, lambda one: one.status)}


def _response(status: int, refusals: list[type[Refused]]) -> dict[str, Any]:
    types = [refusal.type_uri() for refusal in refusals]
    narrowed = {"properties": {"type": {"enum": types}, "status": {"const": status}}}
    sentences = dict.fromkeys(refusal.title for refusal in refusals)
    return {
        "description": f"{'. '.join(sentences)}.",
        "headers": {"X-Request-Id": {"$ref": "#/components/headers/X-Request-Id"}},
        "content": {
            PROBLEM_JSON: {
                "schema": {"allOf": [{"$ref": f"#/components/schemas/{Problem.__name__}"}, narrowed]},
                "examples": {name(kind): {"$ref": f"#/components/examples/{name(kind)}"} for kind in refusals},
            }
        },
    }
