"""Breaks of the last version's promise that are meant, each with its reason. Empty it with each release."""

from typing import Final

ACCEPTED: Final[dict[str, str]] = {}
"""By the very sentence that `python -m contracts.compatibility` says."""
