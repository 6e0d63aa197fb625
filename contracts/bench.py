"""What the chronograph bench shows, the page that shows it, and the plain text in which an instrument sends its readings."""

from datetime import datetime
from typing import Annotated, Any, Final, Literal

from msgspec import Meta, Struct

from contracts.chronos import ChartPoint, Standing
from contracts.judgement import Basis, Judgement
from contracts.problems import (
    BodyTooLarge,
    Broken,
    Contended,
    IdempotencyKeyMissing,
    MalformedBody,
    NotFound,
    PositionAhead,
    UnknownSubject,
    UnsupportedMediaType,
)
from contracts.read import BEHIND_A_KEY, Parameter, Read
from contracts.velocity import CHRONO, MisreadKind
from contracts.words import Calibre, FieldId, Speed

TEXT: Final = "text/plain"
MOST_LINES: Final = 200
"""In one request."""
PAGE: Final[dict[str, str]] = {
    "bench.css": "text/css",
    "bench.js": "text/javascript",
    "chart.js": "text/javascript",
    "hands.js": "text/javascript",
    "instrument.js": "text/javascript",
    "keys.js": "text/javascript",
    "marker.js": "text/javascript",
    "speeds.js": "text/javascript",
    "verdict.js": "text/javascript",
}
"""The files beside the page itself, and what they are."""


class _Shown(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is not known or does not apply is left out."""


class Shown(_Shown, frozen=True, kw_only=True):
    """One thing that the chronograph showed: a reading, or a misread with the speed that it showed, if any. In ft/s."""

    speed_fps: float | None = None
    misread: MisreadKind | None = None


class FieldAnswer(_Shown, frozen=True, kw_only=True):
    """What a string says about one field."""

    field: str
    title: str
    line: str
    """In one line: `Birch 285 ft/s: pass`, `Fern 230 ft/s: turn down 12 ft/s`."""
    verdict: Literal["pass", "turn_down", "inconclusive", "open"]
    """`open`: nothing is too fast so far, and readings are still to come."""
    judgement: Judgement


class StringSoFar(_Shown, frozen=True, kw_only=True):
    """The string that is being shot."""

    test: str
    marker: str
    opened_at: datetime
    sealed: bool
    calibre: Calibre | None = None
    ball_g: float
    shown: tuple[Shown, ...]
    """In the order in which it came."""
    to_come: int
    """Readings that are still to come."""
    set_up_changed: bool = False
    """The set-up was changed since it was opened: whatever is shot, it does not count. Open another."""
    fields: tuple[FieldAnswer, ...]


class LastString(_Shown, frozen=True, kw_only=True):
    """The newest test on this chronograph. `fields` are judged by every string of the marker's present set-up: one that was too fast stands."""

    test: str
    marker: str
    at: datetime
    sealed: bool
    calibre: Calibre | None = None
    ball_g: float
    shown: tuple[Shown, ...]
    verdict: Literal["pass", "some", "turn_down", "inconclusive"]
    """For the field that was asked for, else for all of them; `some`: it passes for some fields and not for others."""
    sentence: str
    turn_down_fps: float | None = None
    set_up_changed: bool = False
    """The set-up has changed since: it counts no more."""
    stands: bool = False
    """What turned the marker down is an earlier string in the same set-up, not this one."""
    fields: tuple[FieldAnswer, ...]


class Bench(_Shown, frozen=True, kw_only=True):
    """What the person at one chronograph sees. Whoever asks again with its epoch and position as `after` waits for what is newer."""

    park: str
    chrono: str
    epoch: int
    position: int
    as_of: datetime
    """The park's own time of this answer."""
    time_zone: str
    unit: Literal["fps", "mps", "joules"]
    """In which the park's screens show speeds."""
    basis: Basis
    needed: int
    """How many readings make a string."""
    field: str | None = None
    """The field that was asked for."""
    string: StringSoFar | None = None
    last: LastString | None = None
    strays: tuple[Shown, ...] = ()
    """Readings of no marker since: beyond a full string, or before the next was opened. They are on the record, and count for nobody."""
    instrument: Standing
    checks: tuple[ChartPoint, ...]
    check_readings: int
    """How many shots a check must have, read by the chronograph and the reference alike."""
    bias_limit_fps: float
    """A check further off than this closes the chronograph by itself."""


class LineAnswer(_Shown, frozen=True, kw_only=True):
    """What became of one line."""

    line: int
    """Its number in the body, from 1."""
    outcome: Literal["recorded", "refused", "remark"]
    """`remark`: nothing but a remark, or empty."""
    position: int | None = None
    marker: str | None = None
    """The marker whose string it is of; absent where it is of none."""
    speed_fps: Speed | None = None
    misread: MisreadKind | None = None
    test: str | None = None
    """The test that was recorded with it, where it was the last reading that its string needed."""
    why: str | None = None
    """Why it is refused, and what to do."""


class LineAnswers(Struct, frozen=True, kw_only=True):
    """An answer for each line, in order."""

    park: str
    chrono: str
    lines: tuple[LineAnswer, ...]


After = Annotated[str, Meta(pattern=r"^[0-9]{1,9}:[0-9]{1,18}$", examples=["1:4711"])]
Text: Any = Annotated[
    str,
    Meta(
        max_length=20_000,
        examples=[
            "281.4 fps\n85.8 m/s # second shot\n2026-05-09T10:00:03.120+01:00 279.9 fps\n-- beam lost\n301 fps -- double trigger\n"
        ],
    ),
]
BENCH_READS: Final[tuple[Read, ...]] = (
    Read(
        path="/parks/{park}/velocity/bench/{chrono}",
        summary="What the bench shows of one chronograph. With `after` it waits up to ten seconds for something newer.",
        roles=CHRONO,
        answer=Bench,
        parameters=(
            Parameter(name="field", kind=FieldId, description="The field to judge for; all of them where it is absent."),
            Parameter(name="after", kind=After, description="`<epoch>:<position>` of the answer that is at hand."),
        ),
        problems=(*BEHIND_A_KEY, UnknownSubject, PositionAhead),
    ),
    Read(
        path="/parks/{park}/velocity/lines/{chrono}",
        summary=(
            "Record readings as an instrument sends them: plain text, one a line, such as `281.4 fps`, `85.8 m/s` or `-- beam lost`. "
            "Each line is answered; one that does not fit harms no other. Safe to send again under its Idempotency-Key."
        ),
        roles=CHRONO,
        method="post",
        body=Text,
        takes=TEXT,
        sent="281.4 fps\n279.9 fps\n-- beam lost\n",
        keyed=True,
        answer=LineAnswers,
        problems=(
            *BEHIND_A_KEY, UnknownSubject, IdempotencyKeyMissing, MalformedBody, BodyTooLarge, UnsupportedMediaType, Contended,
        ),
    ),
    Read(
        path="/parks/{park}/velocity/bench",
        summary="The page for the person at the chronograph. It asks for the key of a chronograph's device.",
        roles=None,
        media="text/html",
        problems=(NotFound, Broken),
    ),
    *(
        Read(
            path=f"/parks/{{park}}/velocity/page/{name}",
            summary="A part of the bench's page.",
            roles=None,
            media=media,
            problems=(NotFound, Broken),
        )
        for name, media in PAGE.items()
    ),
)  # fmt: skip
