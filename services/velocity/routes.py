"""The bench's routes: what it shows, the lines that an instrument sends, and the page."""

from pathlib import Path
from typing import Any, Final
from uuid import uuid5

from litestar import Request, Response, get, post
from litestar.params import FromPath
from msgspec.structs import replace

from contracts.bench import MOST_LINES, PAGE, TEXT, After, LineAnswer, LineAnswers
from contracts.bench import Bench as BenchShown
from contracts.problems import (
    BodyTooLarge,
    Contended,
    MalformedBody,
    Refused,
    Unavailable,
)
from contracts.velocity import CHRONO as AT_THE_BENCH
from contracts.velocity import MarkerTested, ReadingTaken, TakeReading
from contracts.words import ChronoId, FieldId
from services.core.command import Handler, Moment, must_know
from services.core.following import newest
from services.core.pages import NO_STORE, file_route
from services.core.park import Asked, Park, digest_of
from services.core.reads import fits
from services.core.routes import asked, must_be, park_of
from services.core.rules import RULES, operating_day
from services.velocity import bench, shooting
from services.velocity.lines import Line, lines, split
from services.velocity.shooting import SHOOTING
from services.velocity.states import CHRONO

AGAIN: Final = 25
"""Times that a line is tried while other readings of the same chronograph keep coming between."""
FOLDER: Final = Path(__file__).with_name("page")
TAKE: Final = Handler(TakeReading, lambda c, _: {(CHRONO, c.chrono), (SHOOTING, c.chrono)}, shooting.take_reading)


@get("/parks/{park:str}/velocity/bench/{chrono:str}", opt={"roles": AT_THE_BENCH})
async def bench_of(request: Request[Any, Any, Any], park: FromPath[str], chrono: FromPath[str]) -> Response[BenchShown]:
    """What the bench shows of one chronograph; with `after` once there is something newer, or after some seconds."""
    where = park_of(request, park)
    chrono = fits(chrono, ChronoId, "chrono")
    field = _asked(request, "field", FieldId)
    after = _asked(request, "after", After)
    shown = await newest(request, where, after, lambda: _view(where, chrono, field))
    return Response(shown, headers=NO_STORE)


async def _view(park: Park, chrono: str, field: str | None) -> tuple[BenchShown, list[str]]:
    """What is shown, and the tags of all that it is made of."""
    given, read = await park.load(lambda given: bench.subjects(chrono, given))
    rules, now = given.of(RULES, "").rules, park.clock.now()
    position = min(read.values())
    moment = Moment(now=now, occurred_at=now, day=operating_day(rules, now), rules=rules, position=position)
    epoch = (await park.log.head()).epoch
    tags = sorted({fold.tag(name) for fold, name in read})
    return bench.view(park.park, epoch, chrono, field, given, moment), tags


@post("/parks/{park:str}/velocity/lines/{chrono:str}", opt={"roles": AT_THE_BENCH}, status_code=200)
async def take_lines(
    request: Request[Any, Any, Any], park: FromPath[str], chrono: FromPath[str]
) -> Response[LineAnswers]:
    """Record what an instrument sends: each line by itself, in order, under an id of its own that follows from the Idempotency-Key."""
    where = park_of(request, park)
    chrono = fits(chrono, ChronoId, "chrono")
    text = await _text(request)
    plain = asked(request, where, b"")
    given, _ = await where.load(lambda _: {(CHRONO, chrono)})
    must_know(given.of(CHRONO, chrono).registered, f"chrono:{chrono}")
    answers = [await _take(where, line, plain, chrono) for line in lines(text, chrono)]
    return Response(LineAnswers(park=where.park, chrono=chrono, lines=tuple(answers)), headers=NO_STORE)


async def _text(request: Request[Any, Any, Any]) -> str:
    must_be(TEXT, request.headers, how=", in UTF-8")
    try:
        text = (await request.body()).decode()
    except UnicodeDecodeError as error:
        raise MalformedBody(f"{error}. Nothing was recorded; send plain text in UTF-8.") from None
    if len(split(text)) > MOST_LINES:
        raise BodyTooLarge(
            f"A text may have {MOST_LINES} lines. Nothing was recorded; send the rest in another request."
        )
    return text


async def _take(park: Park, line: Line, plain: Asked, chrono: str) -> LineAnswer:
    if line.reading is None:
        return LineAnswer(line=line.number, outcome="refused" if line.why else "remark", why=line.why or None)
    name = uuid5(plain.id, f"line {line.number}")
    own = replace(plain, id=name, digest=digest_of(f"velocity/lines/{chrono}", line.text.encode()))
    try:
        return await _taken(park, line, line.reading, own)
    except (Contended, Unavailable):  # the lines after it must not overtake it: the whole text is sent again
        raise
    except Refused as refused:
        return LineAnswer(line=line.number, outcome="refused", why=refused.detail)


async def _taken(park: Park, line: Line, reading: TakeReading, own: Asked) -> LineAnswer:
    for attempt in range(AGAIN):
        try:
            answer = await park.execute(TAKE, reading, own)
        except Contended:
            if attempt == AGAIN - 1:
                raise
            continue
        events = answer.receipt.events
        position, taken = next((one.position, one.data) for one in events if isinstance(one.data, ReadingTaken))
        return LineAnswer(
            line=line.number,
            outcome="recorded",
            position=position,
            marker=taken.marker,
            speed_fps=taken.speed_fps,
            misread=taken.misread,
            test=taken.test if any(isinstance(one.data, MarkerTested) for one in events) else None,
        )
    raise AssertionError("the last attempt answers or raises")


def _asked(request: Request[Any, Any, Any], name: str, kind: Any) -> str | None:
    value = request.query_params.get(name)
    return None if value is None else fits(value, kind, name)


ROUTES: Final = (
    bench_of,
    take_lines,
    file_route("/parks/{park:str}/velocity/bench", FOLDER / "bench.html", "text/html"),
    *(file_route(f"/parks/{{park:str}}/velocity/page/{name}", FOLDER / name, media) for name, media in PAGE.items()),
)
