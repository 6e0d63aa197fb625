"""Finding a player of a past day: by his pass or armband, or by what happened on a field between two instants."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any, Final

from litestar import Request, get
from litestar.params import FromPath

from contracts.discipline import CautionRecorded, CautionResolved
from contracts.envelope import Recorded
from contracts.games import AdmissionRefused, EntryRecorded, GameStarted, PlayerAdmitted, PlayerOut
from contracts.incidents import IncidentRecorded
from contracts.passes import Shown
from contracts.problems import InvalidParameter, UnknownSubject
from contracts.story import Seen, SeenPlayers
from contracts.velocity import MarkerSpotChecked
from contracts.what_if import AUDITORS
from contracts.words import Day, DayArmband, FieldId, Instant
from services.audit.days import must_be_datable
from services.audit.query import asked
from services.audit.words.scene import Scene
from services.audit.words.telling import sentence
from services.core.log import Log
from services.core.park import Park
from services.core.recent import recent
from services.core.routes import park_of
from services.core.rules import RULES, operating_day
from services.registration.passes.keyring import code_shown
from services.registration.passes.routes import rings_of
from services.registration.states import ARMBAND, PASS, PLAYER

ALONE: Final = (
    AdmissionRefused, CautionRecorded, CautionResolved, EntryRecorded, MarkerSpotChecked, PlayerAdmitted, PlayerOut,
)  # fmt: skip
"""What happens on a field to one player, whom it names."""
LONGEST: Final = timedelta(hours=25)
"""The longest span that is searched, an operating day on which the clock goes back, and how much later what happened in it may have been told."""
INSTANT: Final = timedelta(microseconds=1)
MOST: Final = 200
"""Players in an answer: more than any field takes."""
Named = dict[str, list[str]]
"""Each player with what names him alone."""


@get("/parks/{park:str}/audit/players", opt={"roles": AUDITORS})
async def players(request: Request[Any, Any, Any], park: FromPath[str]) -> SeenPlayers:
    """Who was that? By day pass or armband, or by what happened on a field between two instants."""
    where = park_of(request, park)
    named = [name for name in ("day_pass", "armband", "field") if name in request.query_params]
    if len(named) != 1:
        raise InvalidParameter("Ask by one of day_pass, armband, or field with from and to.", where="day_pass")
    if named == ["field"]:
        field, since, until = asked(request, "field", FieldId), _instant(request, "from"), _instant(request, "to")
        return await by_place(where, field, since, until)
    day = asked(request, "day", Day)
    if named == ["armband"]:
        return await by_sign(where, "armband", str(asked(request, "armband", DayArmband)), day)
    shown, on = asked(request, "day_pass", Shown), day or await _today(where)
    return await by_sign(where, "day_pass", code_shown(rings_of(request), where.park, shown, on), on)


async def _today(park: Park) -> date:
    given, _ = await park.load(lambda _: ())
    return operating_day(given.of(RULES, "").rules, park.clock.now())


def _instant(request: Request[Any, Any, Any], name: str) -> datetime:
    found = asked(request, name, Instant)
    if not isinstance(found, datetime):
        raise InvalidParameter("Name field, from and to together: two instants with their offset.", where=name)
    return found


async def by_sign(park: Park, sign: str, value: str, day: date | None) -> SeenPlayers:
    """Who bore a day pass or an armband on a day, today when none is named; raises UnknownSubject."""
    fold = PASS if sign == "day_pass" else ARMBAND
    given, _ = await park.load(lambda _: {(fold, value)})
    on = day or operating_day(given.of(RULES, "").rules, park.clock.now())
    player = given.of(fold, value).on(on)
    if player is None:
        raise UnknownSubject(
            f"Nobody had {fold.prefix} {value} on {on}. Look again, name another day, or search by field and time.",
            where=fold.tag(value),
        )
    return SeenPlayers(park=park.park, day=on, players=await _seen(park.log, {player: []}, on))


async def by_place(park: Park, field: str, since: datetime, until: datetime) -> SeenPlayers:
    """Who had to do with a field between two instants; raises InvalidParameter, or UnknownSubject where nobody had."""
    must_be_datable(since, "from")
    must_be_datable(until, "to")
    if not since <= until <= since + LONGEST:
        raise InvalidParameter(
            f"to={until.isoformat()} must be no earlier than from, and at most 25 hours later.", where="to"
        )
    first, last = await park.log.position_at(since - INSTANT), await park.log.position_at(until + LONGEST)
    rows = await park.log.story([f"field:{field}"], first, last)
    events = [event for row in rows if since <= (event := recent(row.leaf)).occurred_at <= until]
    named = _named(events, Scene(about=f"field:{field}"))
    if not named:
        raise UnknownSubject(
            f"Nothing on field {field} names a player between {since.isoformat()} and {until.isoformat()}. "
            "Widen the span, or ask for another field.",
            where=f"field:{field}",
        )
    day = events[0].day
    return SeenPlayers(park=park.park, day=day, players=await _seen(park.log, named, day))


def _named(events: Iterable[Recorded[Any]], scene: Scene) -> Named:
    named: Named = {}
    for event in events:
        data = event.data
        if isinstance(data, GameStarted):
            for entrant in data.entrants:
                named.setdefault(entrant.player, [])
        alone: Sequence[str] = data.players if isinstance(data, IncidentRecorded) else ()
        if isinstance(data, ALONE) and data.player is not None:
            alone = (data.player,)
        for player in alone:
            named.setdefault(player, []).append(sentence(data, scene))
    return named


async def _seen(log: Log, named: Mapping[str, Sequence[str]], day: date) -> tuple[Seen, ...]:
    """These players as they were on that day, those whom something names alone first."""
    order = sorted(named, key=lambda player: (not named[player], player))[:MOST]
    head = await log.head()
    of: dict[str, list[Recorded[Any]]] = {f"player:{player}": [] for player in order}
    for row in await log.story(of, 0, head.position):
        event = recent(row.leaf)
        for tag in of.keys() & event.tags:
            of[tag].append(event)
    return tuple(_as_seen(player, of[f"player:{player}"], named[player], day) for player in order)


def _as_seen(player: str, events: Sequence[Recorded[Any]], because: Sequence[str], day: date) -> Seen:
    known = PLAYER.over(player, events)
    moments = [event.occurred_at for event in events if event.day == day] or [events[0].occurred_at]
    return Seen(
        player=player,
        person=known.person,
        day=day,
        day_pass=known.day_pass,
        armband=known.armband,
        group=known.group,
        part=known.part,
        first_seen=min(moments),
        last_seen=max(moments),
        because=tuple(because),
    )
