"""What a report says: headed sections of sentences, tables and timelines, the same in print and in a browser."""

from msgspec import Struct

from services.audit.cases.report.moments import NOT_RECORDED


class Entry(Struct, frozen=True, kw_only=True):
    """One event of a timeline."""

    position: int
    time: str
    """When it happened by the park's own clock, with its offset."""
    sentence: str
    notes: tuple[tuple[str, str], ...] = ()
    """What else is to be said of it, each under a word: the rule, what followed, the decision, lateness."""
    by: str = ""
    """The device that recorded it, and who was at it."""


class Table(Struct, frozen=True, kw_only=True):
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...] = ()
    """How the columns share the width; all alike when empty."""
    code: int = -1
    """The column that holds commands, to be read letter by letter."""


class Section(Struct, frozen=True, kw_only=True):
    heading: str
    text: tuple[str, ...] = ()
    table: Table | None = None
    entries: tuple[Entry, ...] = ()
    own_page: bool = False


class Item(Struct, frozen=True):
    """One thing that is asked for, what the record says of it, and the positions where it does."""

    what: str
    found: str = NOT_RECORDED
    positions: tuple[int, ...] = ()


class Seal(Struct, frozen=True, kw_only=True):
    """The checkpoint that the report lies under, as it stands at the foot of every page."""

    origin: str
    size: int
    signed_at: str
    digest: str
    """SHA-256 of checkpoint.txt, in hex."""
    root: str
    """The root of the tree, in hex."""
    key: str


class Report(Struct, frozen=True, kw_only=True):
    title: str
    subtitle: str
    lead: tuple[str, ...]
    sections: tuple[Section, ...]
    seal: Seal
    stamp: int
    """Seconds since 1970 of the checkpoint, so that the same case gives the same bytes."""
