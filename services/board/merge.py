"""JSON merge patch, RFC 7396: how one document becomes another. Documents here hold no null, which in a patch means: take it away."""

from typing import Any

Document = dict[str, Any]


def difference(before: Document, after: Document) -> Document:
    """The patch that makes `after` of `before`; empty where they are equal."""
    patch: Document = dict.fromkeys(before.keys() - after.keys())
    for name, value in after.items():
        old = before.get(name)
        if isinstance(old, dict) and isinstance(value, dict):
            inner = difference(old, value)
            if inner:
                patch[name] = inner
        elif name not in before or old != value:
            patch[name] = value
    return patch
