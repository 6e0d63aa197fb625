"""Applying a JSON merge patch, RFC 7396, as a reader of the board's stream must."""

from typing import Any


def merged(document: Any, patch: Any) -> Any:
    """The document after the patch."""
    if not isinstance(patch, dict):
        return patch
    result = dict(document) if isinstance(document, dict) else {}
    for name, value in patch.items():
        if value is None:
            result.pop(name, None)
        else:
            result[name] = merged(result.get(name), value)
    return result
