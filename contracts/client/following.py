"""Reading along: server-sent events in whatever pieces they come, and where to go on after a cut."""

from collections.abc import Iterator
from datetime import datetime
from typing import Final

import httpx
import msgspec
from msgspec import Struct

from contracts.catalogue import decode_data
from contracts.envelope import UNREADABLE, Data, Event

QUIET: Final = 15.0
"""Seconds without a word after which the connection is taken for lost; the park beats every five."""


class ParkEvent(Event, frozen=True, kw_only=True):
    """An event with its place in the log and the hash of its leaf."""

    park: str
    epoch: int
    position: int
    recorded_at: datetime
    leaf_sha256: str

    @property
    def told(self) -> Data:
        """Its data as the class of its type, brought to the newest version; `Unknown` where this program is too old for it."""
        return decode_data(self.type, self.version, self.data)


class Restored(Struct, frozen=True, kw_only=True):
    """The park was brought back from a backup: what you have read behind position `common` is no longer on record, `lost` events; what was recorded anew comes next."""

    epoch: int
    was: str
    common: int
    lost: int


class Frame(Struct, frozen=True):
    event: str
    id: str
    data: str


class Frames:
    """Server-sent events out of bytes (WHATWG HTML, 9.2.6): lines end in CR LF, LF or CR, a blank one ends an event, an event without data is none."""

    def __init__(self) -> None:
        self.id = ""
        """Of the last event that ended; it goes into Last-Event-ID."""
        self._next = ""
        self._rest = b""
        self._begun = False
        self._event = ""
        self._data: list[str] = []

    def _clear(self) -> None:
        self._event, self._data = "", []

    def cut(self) -> None:
        """The connection ended: what was begun is dropped."""
        self._rest, self._begun, self._next = b"", False, self.id
        self._clear()

    def read(self, piece: bytes) -> Iterator[Frame]:
        held = self._rest + piece
        late = held[-1:] if held.endswith(b"\r") else b""  # the LF of a CR LF may be still to come
        held = held.removesuffix(b"\r")
        *lines, self._rest = held.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
        self._rest += late
        for line in lines:
            frame = self._line(line)
            if frame is not None:
                yield frame

    def _line(self, raw: bytes) -> Frame | None:
        if not self._begun:
            raw, self._begun = raw.removeprefix(b"\xef\xbb\xbf"), True
        name, _, value = raw.decode(errors="replace").partition(":")
        value = value.removeprefix(" ")
        if not raw:
            self.id = self._next
            frame = Frame(self._event or "message", self.id, "\n".join(self._data)) if self._data else None
            self._clear()
            return frame
        if name == "event":
            self._event = value
        elif name == "data":
            self._data.append(value)
        elif name == "id" and "\0" not in value:
            self._next = value
        return None


_TOLD: Final[dict[str, type[Restored | ParkEvent]]] = {"epoch": Restored, "message": ParkEvent}


class Reading:
    """One reader's place in the log, and what the frames tell him."""

    def __init__(self, after: str | None) -> None:
        self.heard = False
        """Any word of the park's since the connection was last opened."""
        self._after = after
        self._frames = Frames()

    @property
    def place(self) -> str | None:
        """`<epoch>:<position>` read last."""
        return self._frames.id or self._after

    def opened(self) -> dict[str, str]:
        """A connection is being opened: the headers that name where to go on."""
        self._frames.cut()
        self.heard = False
        return {"Accept": "text/event-stream"} | ({"Last-Event-ID": self.place} if self.place else {})

    def ended(self) -> None:
        """The stream came to an end, which it never does by itself. Raises where it said nothing, so that the next try waits."""
        if not self.heard:
            raise httpx.RemoteProtocolError("The stream ended before it said anything.")

    def read(self, piece: bytes) -> Iterator[ParkEvent | Restored]:
        """What the frames in these bytes tell. Raises what breaks a connection where one cannot be read: it is asked for again, and not passed over."""
        known = self._frames.id
        for frame in self._frames.read(piece):
            try:
                found = msgspec.json.decode(frame.data, type=_TOLD[frame.event]) if frame.event in _TOLD else None
            except UNREADABLE as error:
                self._frames.id = known
                raise httpx.RemoteProtocolError(f"What came is no event of the park's: {error}") from error
            known, self.heard = frame.id, True
            if found is not None:
                yield found
