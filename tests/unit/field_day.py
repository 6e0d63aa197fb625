"""A Saturday on which a field is open, its staff on duty and some players known: where the scenarios of games begin."""

from datetime import timedelta
from typing import Any

from contracts.duty import DutyStarted
from contracts.envelope import Basis, Data, Reason
from contracts.games import CallGame, ConfigureField, Entrant, InspectField, StartGame
from contracts.reasons import reason
from contracts.registration import PlayerRegistered
from services.clearance.field import FIELD
from services.clearance.field import reasons as field_reasons
from services.clearance.presence import PRESENCE
from services.clearance.presence import reasons as presence_reasons
from services.core.command import Moment
from services.core.fold import Given
from services.games.api import SERVICE
from tests.unit.scenario import NINE, Scenario

BASIS = Basis(now=NINE, rules="default", position=0)
LATE = timedelta(minutes=1)


class Gate:
    """Stands for the clearance of players: whoever is named has a reason; else only being on a field already counts."""

    def __init__(self) -> None:
        self.against: dict[str, str] = {}

    def subjects(self, player: str, _field: str) -> Any:
        return lambda _given: {(PRESENCE, player)}

    def reasons(
        self, given: Given, player: str, _field: str, _moment: Moment, _day_pass: str | None = None
    ) -> list[Reason]:
        named = [reason(self.against[player])] if player in self.against else []
        return named + presence_reasons(given.of(PRESENCE, player))


def player(name: str, part: str = "player") -> PlayerRegistered:
    return PlayerRegistered(
        player=name,
        person=f"person-{name}",
        group=None,
        part=part,
        age_band=18,
        day_pass=f"pass-{name}",
        armband=1,
        briefing_due=1,
    )


def on_duty(staff: str, post: str, field: str | None) -> DutyStarted:
    return DutyStarted(basis=BASIS, staff=staff, post=post, field=field, qualified_until=NINE.date())


def field_day(players: int = 4) -> Scenario:
    """Two fields, birch with a referee and inspected, fern neither; a first aider; players p1, p2 and so on."""
    day = Scenario(SERVICE.handlers)
    day.when(ConfigureField(field="birch", title="Birch", capacity=6))
    day.when(ConfigureField(field="fern", title="Fern", limit_fps=260, stop_limit_fps=275))
    day.when(InspectField(field="birch", passed=True))
    day.given(on_duty("s1", "referee", "birch"), on_duty("s2", "first_aider", None))
    return day.given(*(player(f"p{number}") for number in range(1, players + 1)))


def entrants(*names: str) -> tuple[Entrant, ...]:
    return tuple(Entrant(player=name, colour="red") for name in names)


def call(day: Scenario, game: str, *names: str, field: str = "birch", **more: Any) -> tuple[Data, ...]:
    return day.when(CallGame(game=game, field=field, entrants=entrants(*names), **more))


def start(day: Scenario, game: str, *names: str, **more: Any) -> Data:
    call(day, game, *names, **more)
    (started,) = day.when(StartGame(game=game))
    return started


def shut(day: Scenario, field: str = "birch", game: str | None = None, players: int = 0) -> list[str]:
    """The codes of the field's own reasons."""
    return [one.code for one in field_reasons(day.state(FIELD, field), day.moment(), game, players)]


def where(day: Scenario, name: str) -> tuple[str, str | None] | None:
    """The field and game that a player is on."""
    on = day.state(PRESENCE, name).on
    return (on.field, on.game) if on else None
