"""Letters to a webhook: some events that follow each other, in one body that is the same whenever it is made again."""

from itertools import islice
from typing import Final

from msgspec import Struct

from services.reading.pages import Page
from services.reading.wanted import Wanted

MOST_EVENTS: Final = 100
MOST_BYTES: Final = 256_000
"""A letter ends before the event that would make it longer; one event alone may be longer."""


class Letter(Struct, frozen=True):
    """The wanted events from `first` to `last`; its body is a JSON array of them, a line each."""

    id: str
    epoch: int
    first: int
    last: int
    events: int
    body: bytes


def next_letter(park: str, page: Page, wanted: Wanted, after: int) -> Letter | None:
    """What is to be sent first of a page, behind a position; None where nothing of it is wanted."""
    chosen: list[int] = []
    size = 0
    for position in islice(page.positions(wanted, after), MOST_EVENTS):
        size += len(page.line(position)) + 2
        if chosen and size > MOST_BYTES:
            break
        chosen.append(position)
    return _letter(park, page, chosen)


def same_letter(park: str, page: Page, wanted: Wanted, first: int, last: int) -> Letter | None:
    """A letter that was made before, from a page that holds it."""
    return _letter(park, page, [position for position in page.positions(wanted, first - 1) if position <= last])


def letter_id(park: str, epoch: int, first: int, last: int) -> str:
    """A letter's `webhook-id`: whenever it is sent again, it is the same."""
    return f"{park}:{epoch}:{first}-{last}"


def _letter(park: str, page: Page, chosen: list[int]) -> Letter | None:
    if not chosen:
        return None
    lines = [page.line(position) for position in chosen]
    epoch, first, last = page.epoch_at(chosen[-1]), chosen[0], chosen[-1]
    body = b"[" + b",\n".join(lines) + b"]\n"
    return Letter(letter_id(park, epoch, first, last), epoch, first, last, len(chosen), body)
