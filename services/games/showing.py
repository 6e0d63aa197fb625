"""What a field is doing and how its game's clock stands, as every screen shows it. The clock is not kept: it follows from what happened."""

from datetime import datetime, timedelta
from typing import Final

from contracts.board import Clock, FieldState
from contracts.games import FieldConfigured
from contracts.rules import VelocityRules
from services.clearance import field as fields
from services.clearance import holds
from services.clearance.field import Field
from services.core.command import Moment
from services.games.states import Game
from services.velocity.limits import ball_mass, of_field, strictest
from services.velocity.shown import shown as shown_speed

CLOSED: Final = frozenset({"field_not_inspected", "field_failed_inspection", "record_not_understood", "unknown_field"})


def closed(field: Field, moment: Moment) -> list[str]:
    """The codes of what keeps a field closed, whoever asks."""
    return [one.code for one in fields.reasons(field, moment) if one.code in CLOSED]


def limit(configured: FieldConfigured, rules: VelocityRules) -> str:
    """The strictest bench limit of the field's, the park's and the law's, for whichever of its calibres is held lowest; in the park's own unit."""
    balls = (ball_mass(calibre, None, rules) for calibre in configured.calibres)
    bounds = ((strictest(of_field(configured), ball_g, rules).limit_fps, ball_g) for ball_g in balls)
    return shown_speed(*min(bounds), rules)


def state(field: Field, *, closed: bool, briefed: bool) -> FieldState:
    """A hold comes before everything else, and a closed field may still have a game called for it."""
    if field.standing:
        return "held" if all(one.confirmed for one in field.standing) else "hold asked"
    if field.running:
        return "live"
    if any(run.uncounted for run in field.runs.values()):
        return "counting"
    if closed:
        return "closed"
    if field.waiting is None:
        return "open"
    return "briefed" if briefed else "called"


def clock(field: Field, game: Game, now: datetime) -> Clock | None:
    """None for a game that has not started."""
    if game.started is None or game.called is None:
        return None
    stopped_at = min((max(one.asked[0], game.started) for one in field.standing), default=None)
    held = holds.stopped(field.holds, game.started, stopped_at or now)
    return Clock(
        started_at=game.started,
        minutes=game.called.minutes,
        held_seconds=held.total_seconds(),
        stopped_at=stopped_at,
        deadline=None if stopped_at else game.started + timedelta(minutes=game.called.minutes) + held,
    )
