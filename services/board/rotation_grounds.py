"""The fields as the rotation sees them: how many play there at once, and when each is free for a game that nobody has called yet."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from contracts.envelope import Reason
from services.board.at_hand import AtHand
from services.clearance import holds, play
from services.clearance.field import Field
from services.duty.model import REFEREES, on_duty
from services.duty.states import FIELD_STAFF
from services.games.rotation.model import Ground, Session
from services.games.rotation.published import SESSIONS
from services.games.states import GAME, Game

TURNING: Final = frozenset({"field_occupied", "heads_missing"})
"""What passes by itself, between two games; whatever else shuts a field does not."""
USUAL: Final = 15.0
"""Minutes of a game where none was called on that field today. Common practice, no source."""


def grounds(at_hand: AtHand) -> list[Ground]:
    """Every field that is configured, in order of title."""
    return [_ground(at_hand, story) for story in at_hand.fields if story.configured is not None]


def _ground(at_hand: AtHand, story: Field) -> Ground:
    return Ground(
        field=story.field,
        places=places(at_hand, story),
        free_at=None if why_shut(at_hand, story) else _next_start(at_hand, story, called=True),
        minutes=_minutes(at_hand, story),
        private=tuple(_sessions(at_hand, story.field)),
    )


def places(at_hand: AtHand, story: Field) -> int:
    """What the field's capacity and the referees on duty there allow."""
    moment, capacity = at_hand.moment, story.configured.capacity if story.configured else 0
    referees = on_duty(at_hand.given.of(FIELD_STAFF, story.field).roster, REFEREES, moment.day)
    return min(capacity, referees * moment.rules.games.players_per_referee)


def why_shut(at_hand: AtHand, story: Field) -> list[Reason]:
    """Why nobody knows when the field opens: held, not inspected, without staff, or after a head-count that did not come out."""
    given, moment = at_hand.given, at_hand.moment
    found = play.reasons(given, story.field, moment, story.running or story.waiting, 1)
    lacking = any(
        run.uncounted and run.heads is not None and run.over is not None and run.heads.place >= run.over
        for run in story.runs.values()
    )
    return [one for one in found if one.code not in TURNING or (lacking and one.code == "heads_missing")]


def _next_start(at_hand: AtHand, story: Field, *, called: bool) -> float:
    """Minutes from now to the next start: after the game that runs or was counted last and its break; `called`: after the called game too."""
    now, pause = at_hand.moment.now, at_hand.moment.rules.games.rotation.break_minutes
    ends = [_end(at_hand, story, run.game) for run in story.runs.values() if run.running]
    ends += [run.over[0] for run in story.runs.values() if run.started and run.over is not None]
    start = max(0.0, _minutes_from(now, max(ends)) + pause) if ends else 0.0
    waiting = at_hand.given.of(GAME, story.waiting).called if story.waiting else None
    return start + waiting.minutes + pause if called and waiting else start


def _end(at_hand: AtHand, story: Field, game: str) -> datetime:
    """When a running game's time is up; now, where it is over already. A stop that lasts moves it on."""
    state, now = at_hand.given.of(GAME, game), at_hand.moment.now
    if state.started is None or state.called is None:
        return now
    stopped = holds.stopped(story.holds, state.started, now)
    return max(now, state.started + timedelta(minutes=state.called.minutes) + stopped)


def kept_until(at_hand: AtHand) -> dict[str, float]:
    """For each game that runs or is called: the minutes from now until its players come off."""
    found = {}
    for story in at_hand.fields:
        if story.running:
            found[story.running] = _minutes_from(at_hand.moment.now, _end(at_hand, story, story.running))
        waiting = at_hand.given.of(GAME, story.waiting) if story.waiting else None
        if waiting is not None and waiting.called is not None:
            found[waiting.game] = _next_start(at_hand, story, called=False) + waiting.called.minutes
    return found


def _minutes(at_hand: AtHand, story: Field) -> float:
    """As long as the game that was called last there; a continuous one has no length."""
    games = (at_hand.given.of(GAME, name) for name in reversed(story.runs))
    return next((_length(game) for game in games if _length(game)), USUAL)


def _length(game: Game) -> float:
    return 0.0 if game.called is None or game.called.format == "continuous" else game.called.minutes


def _sessions(at_hand: AtHand, field: str) -> Iterable[Session]:
    """The field's sessions that are not over, in order."""
    now = at_hand.moment.now
    booked = at_hand.given.of(SESSIONS, at_hand.moment.day.isoformat()).booked.values()
    for one in sorted(booked, key=lambda session: session.start):
        if one.field == field and one.end > now:
            yield Session(f"group:{one.group}", _minutes_from(now, one.start), _minutes_from(now, one.end))


def _minutes_from(now: datetime, moment: datetime) -> float:
    return (moment - now).total_seconds() / 60
