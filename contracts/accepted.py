"""Breaks of the last version's promise that are meant, each with its reason. Empty it with each release."""

from typing import Final

ACCEPTED: Final[dict[str, str]] = {
    "event park.rules_adopted.v1: rules.offline is not known": (
        "Rules gain a field with a default: the event of a park that sets it is `Unknown` to the last version, which then clears nobody under rules that it cannot read."
    ),
    **dict.fromkeys(
        (
            "read GET /parks/{park}/audit/status: as_happened.alerts[].kind may be 'let_in_offline'",
            "read GET /parks/{park}/audit/status: as_recorded.alerts[].kind may be 'let_in_offline'",
            "read GET /parks/{park}/board.json: alerts[].kind may be 'let_in_offline'",
        ),
        "A new kind of alert bears its whole sentence: a screen that does not know the kind shows it all the same.",
    ),
}
"""By the very sentence that `python -m contracts.compatibility` says."""
