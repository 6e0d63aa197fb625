"""A Saturday on which two players of one rotation may be cautioned: where the scenarios of discipline begin."""

from datetime import datetime, timedelta

from contracts.discipline import Caution, CautionRecorded
from contracts.envelope import Basis, Reason
from contracts.games import Entrant, FieldConfigured, GameAbandoned, GameCalled, GameEnded, GameStarted
from contracts.limits import Limit
from contracts.registration import PlayerRegistered, RotationAssigned
from services.discipline import model
from services.discipline.api import SERVICE
from services.discipline.sit_outs import Stops
from services.discipline.states import RECORD, ROTATION
from tests.unit.scenario import NINE, Scenario

BASIS = Basis(now=NINE, rules="default", position=0)


def clock(minute: float) -> datetime:
    return NINE + timedelta(minutes=minute)


def registered(player: str) -> PlayerRegistered:
    return PlayerRegistered(
        player=player,
        person=f"person-{player}",
        group=None,
        part="player",
        age_band=18,
        day_pass=f"pass-{player}",
        armband=14,
        briefing_due=1,
    )


def configured(field: str) -> FieldConfigured:
    return FieldConfigured(
        field=field,
        title=field,
        limit_fps=285,
        stop_limit_fps=300,
        age_floor=12,
        calibres=(".68",),
        firing_modes=("semi",),
        capacity=40,
        limit=Limit(),
    )


def called(game: str) -> GameCalled:
    red = Entrant(player="p9", colour="red")
    return GameCalled(game=game, field="birch", rotation="green", format="elimination", minutes=15, entrants=(red,))


def discipline_day(rotation: str | None = "green") -> Scenario:
    """Two fields, players p1 and p2 in rotation green, and game g0 called on birch; it is ten past nine."""
    day = Scenario(SERVICE.handlers).given(configured("birch"), configured("fern"), called("g0"))
    day.given(registered("p1"), registered("p2"))
    if rotation:
        day.given(RotationAssigned(rotation=rotation, field="birch", players=("p1", "p2")))
    return day.at(10)


def caution(
    day: Scenario, name: str, violation: str = "wiping", player: str = "p1", minute: float | None = None
) -> CautionRecorded:
    """A head referee records a violation now, or late for what happened at some minute."""
    at = None if minute is None else clock(minute)
    (recorded,) = day.when(Caution(caution=name, violation=violation, player=player, occurred_at=at))
    assert isinstance(recorded, CautionRecorded)
    return recorded


def start(
    day: Scenario, game: str, minute: float, *players: str, rotation: str | None = "green", kind: str = "elimination"
) -> None:
    """A game of some players starts on birch."""
    started = GameStarted(
        basis=BASIS,
        game=game,
        field="birch",
        rotation=rotation,
        format=kind,
        minutes=15,
        entrants=tuple(Entrant(player=one, colour="red") for one in ("p9", *players)),
        left_out=(),
    )
    day.at(minute).given(started)


def end(
    day: Scenario,
    game: str,
    started: float,
    minute: float,
    *players: str,
    rotation: str | None = "green",
    kind: str = "elimination",
    full: bool = True,
) -> None:
    ended = GameEnded(
        game=game,
        field="birch",
        rotation=rotation,
        format=kind,
        started_at=clock(started),
        played_minutes=minute - started,
        full=full,
        players=("p9", *players),
        winner=None,
    )
    day.at(minute).given(ended)


def play(
    day: Scenario, game: str, minute: float, *players: str, rotation: str | None = "green", full: bool = True
) -> None:
    """A game of fifteen minutes, from its start to its end."""
    start(day, game, minute, *players, rotation=rotation)
    end(day, game, minute, minute + 15, *players, rotation=rotation, full=full)


def abandon(day: Scenario, game: str, minute: float) -> None:
    given_up = GameAbandoned(game=game, field="birch", rotation="green", players=("p9",), cause="weather")
    day.at(minute).given(given_up)


def found(day: Scenario, player: str = "p1", stops: Stops = model.NO_STOPS) -> list[Reason]:
    record = day.state(RECORD, player)
    rotations = {name: day.state(ROTATION, name) for name in record.rotation_ids}
    return model.reasons(record, rotations, day.moment(), stops)


def codes(day: Scenario, player: str = "p1", stops: Stops = model.NO_STOPS) -> list[str]:
    return [one.code for one in found(day, player, stops)]
