"""Would a change of the contracts break who was built on the last version? Its readers know the answers and events of then; its writers send the commands of then.

Both are one question: is every value of one schema also a value of another? A request of then must be one of now. An answer of now must
be one that a reader of then knows, but for fields that are new to him: those he passes over. An event's schema does not change at all
under its version, for its bytes are evidence.
"""

import sys
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from contracts.accepted import ACCEPTED
from contracts.fitting import Fitting
from contracts.release import last, promise

Promise = Mapping[str, Any]
"""What a version promised, as `contracts.release` writes it."""
Found = Iterator[tuple[str, str]]


def breaks(before: Promise, after: Promise) -> list[str]:
    """A sentence for each way in which something that relied on `before` would break under `after`."""
    requests = Fitting(before["types"], after["types"])
    answers = Fitting(after["types"], before["types"], reading=True)
    found = [
        *_routes("command", before["commands"], after["commands"], requests, answers),
        *_routes("read", before["reads"], after["reads"], requests, answers),
        *_events(before, after),
        *_problems(before["problems"], after["problems"]),
        *(
            (f"answer {name}", why)
            for name, schema in before["answers"].items()
            for why in answers.escapes(after["answers"].get(name, {}), schema)
        ),
    ]
    return sorted({f"{what}: {why}" for what, why in found})


def _routes(kind: str, before: Promise, after: Promise, requests: Fitting, answers: Fitting) -> Found:
    for path, old in before.items():
        what = f"{kind} {path}"
        if path not in after:
            yield what, "the route is gone"
            continue
        new = after[path]
        for why in (*_rights(old, new), *_asked(old, new, requests), *_answered(old, new, answers)):
            yield what, why


def _rights(old: Promise, new: Promise) -> Iterator[str]:
    if old["roles"] is None:
        if new["roles"] is not None:
            yield "it takes a key now"
    elif new["roles"] is not None:
        for role in sorted(set(old["roles"]) - set(new["roles"])):
            yield f"{role} may no longer"
    if old.get("fact") and not new.get("fact"):
        yield "it is a fact no longer, and can be refused"


def _asked(old: Promise, new: Promise, requests: Fitting) -> Iterator[str]:
    """What a writer of then sends: the body, and the parameters of the query."""
    if "body" in old:
        yield from requests.escapes(old["body"], new.get("body", {"not": {}}))
    elif "body" in new:
        yield "it takes a body now"
    known, now = old.get("parameters", {}), new.get("parameters", {})
    for name, parameter in known.items():
        if name not in now:
            yield f"the parameter {name} is gone"
        else:
            yield from requests.escapes(parameter["schema"], now[name]["schema"], name)
    for name, parameter in now.items():
        if parameter["required"] and not known.get(name, {"required": False})["required"]:
            yield f"the parameter {name} must be there now"


def _answered(old: Promise, new: Promise, answers: Fitting) -> Iterator[str]:
    if old.get("status", 200) != new.get("status", 200):
        yield f"its status is {new.get('status', 200)} in place of {old.get('status', 200)}"
    if old.get("media") != new.get("media"):
        yield f"it answers {new.get('media')} in place of {old.get('media')}"
    if "answer" in old:
        yield from answers.escapes(new.get("answer", {}), old["answer"])


def _events(before: Promise, after: Promise) -> Found:
    forwards = Fitting(before["types"], after["types"])
    back = Fitting(after["types"], before["types"])
    for name, old in before["events"].items():
        new = after["events"].get(name)
        reasons: Iterable[str] = (
            ["the type or version is gone"] if new is None else [*back.escapes(new, old), *forwards.escapes(old, new)]
        )
        yield from ((f"event {name}", why) for why in reasons)


def _problems(before: Promise, after: Promise) -> Found:
    for uri, status in before.items():
        if uri not in after:
            yield f"problem {uri}", "the type is gone"
        elif after[uri] != status:
            yield f"problem {uri}", f"its status is {after[uri]} in place of {status}"


def main() -> int:
    """Print what would break who was built on the last version, and is not accepted; 1 if there is any."""
    found = [one for one in breaks(last(), promise()) if one not in ACCEPTED]
    sys.stdout.writelines(f"{one}\n" for one in found)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
