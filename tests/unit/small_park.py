"""A small park that is open: four players, two of them minors, two fields with limits of their own, five markers; and what may be sent to it."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, Final

from hypothesis import strategies as st

from contracts import discipline, duty, equipment, games, incidents, park, registration, velocity
from contracts.envelope import Command
from deploy.services import SERVICES
from tests.unit.scenario import NINE
from tests.unit.small_bench import (
    CHRONOS,
    FIELDS,
    INSTRUMENTS,
    MARKERS,
    OPENINGS,
    READINGS,
    any_of,
    check,
    string,
)

HANDLERS: Final = {handler.command: handler for service in SERVICES for handler in service.handlers}
BANDS: Final = {"p1": 18, "p2": 18, "p3": 12, "p4": 14}
LIMITS: Final = dict(zip(FIELDS, (285.0, 260.0), strict=True))
PLAYERS: Final = tuple(BANDS)


CAUTIONS: Final = tuple(f"c{number}" for number in range(1, 7))
GAMES: Final = tuple(f"g{number}" for number in range(1, 7))
TODAY: Final = NINE.date()
YEAR_AFTER: Final = date(2027, 5, 9)


def opening() -> list[Command]:
    """What makes everybody ready to play."""
    commands: list[Command] = [park.OpenDay(opened=TODAY)]
    for chrono in CHRONOS:
        commands += [velocity.RegisterChrono(chrono=chrono), check(chrono, 0.0)]
    for field, limit in LIMITS.items():
        commands.append(
            games.ConfigureField(field=field, title=field, limit_fps=limit, stop_limit_fps=limit + 15, age_floor=10)
        )
        commands.append(games.InspectField(field=field, passed=True))
        commands += _on_duty(f"ref-{field}", "referee", field)
    commands += _on_duty("aid", "first_aider", None)
    commands.append(registration.RegisterPerson(person="parent", age_band=18))
    for number, player in enumerate(PLAYERS, 1):
        commands += _arrived(player, number)
    commands.append(registration.HoldBriefing(briefing="b1", version=1, players=PLAYERS))
    commands.append(registration.AssignRotation(rotation="r1", field="birch", players=("p1", "p2")))
    commands.append(registration.AssignRotation(rotation="r2", field="fern", players=("p3", "p4")))
    return commands


def _on_duty(staff: str, post: Any, field: str | None) -> list[Command]:
    return [
        duty.RegisterStaff(staff=staff, qualifications=(duty.Qualification(post=post, until=YEAR_AFTER),)),
        duty.StartDuty(staff=staff, post=post, field=field),
    ]


def _arrived(player: str, number: int) -> list[Command]:
    """Through desk, gear counter and bench; p1 with a marker of his own, h4 stays on the rack."""
    person, own, marker = f"person-{player}", number == 1, marker_of(player)
    commands: list[Command] = [
        registration.RegisterPerson(person=person, age_band=BANDS[player]),
        registration.RegisterPlayer(player=player, person=person, day_pass=f"pass-{number}", armband=number),
        registration.SignWaiver(person=person, wording="w1"),
        payment(f"pay-{number}", player),
        equipment.RegisterMarker(marker=marker, owner=player if own else None, model="Heron"),
        equipment.RegisterMask(mask=f"mask{number}", model="Visor"),
        equipment.IssueGear(player=player, marker=None if own else marker, mask=f"mask{number}"),
    ]
    if BANDS[player] < 18:
        commands.append(consent(person))
    if own:
        commands += [
            equipment.InspectGear(player=player, marker=marker, barrel_cover=True),
            equipment.RegisterMarker(marker="h4", model="Heron"),
            string("h4", 250.0),
        ]
    return [*commands, string(marker, 250.0)]


def marker_of(player: str) -> str:
    """What he comes with, or is given at the counter."""
    number = PLAYERS.index(player)
    return f"h{number}" if number else "own1"


def set_right(player: str) -> list[Command]:
    """What makes a player ready again, as far as the record lets it: a manager's word, papers, a measured marker."""
    number, marker = PLAYERS.index(player) + 1, marker_of(player)
    return [
        discipline.ReinstatePlayer(player=player),
        *(discipline.VoidCaution(caution=caution, player=player, cause="wrong_player") for caution in CAUTIONS),
        incidents.DeclareFit(player=player),
        registration.RecordReturn(player=player),
        payment(f"again-{number}", player),
        consent(f"person-{player}"),
        equipment.ReleaseGear(marker=marker),
        equipment.IssueGear(player=player, marker=marker),
        *([equipment.InspectGear(player=player, marker=marker, barrel_cover=True)] if number == 1 else []),
        check("k1", 0.0),
        string(marker, 250.0),
        games.RecordOut(player=player, field="birch", cause="walked_off"),
        games.RecordOut(player=player, field="fern", cause="walked_off"),
    ]


COOL: Final = park.RecordWeather(temperature_c=20.0, humidity_percent=40)
HOT: Final = park.RecordWeather(temperature_c=38.0, humidity_percent=70)
"""A heat index of some 58 °C: no play."""


def opened_again(field: str, holds: Iterable[str]) -> list[Command]:
    """What opens a field again: inspected, its holds lifted, its staff on duty."""
    lifts: list[Command] = [games.LiftHold(hold=hold, field=field, swept=True) for hold in holds]
    return [
        *lifts,
        games.InspectField(field=field, passed=True),
        duty.StartDuty(staff=f"ref-{field}", post="referee", field=field),
        duty.StartDuty(staff="aid", post="first_aider", field=None),
    ]


def payment(name: str, player: str) -> Command:
    return registration.RecordPayment(payment=name, players=(player,), purpose="entry", means="card", amount_minor=2500)


def consent(person: str) -> Command:
    return registration.GiveConsent(person=person, guardian="parent", relationship="parent", wording="w1")


_persons = tuple(f"person-{player}" for player in PLAYERS)
VIOLATIONS: Final = ("wiping", "close-shot", "overshooting", "physical-contact", "asking-for-help")
SKY: Final = st.one_of(
    any_of(park.RecordThunder, flash_to_bang_s=(None, 20.0, 60.0)),
    any_of(park.RecordFlash),
    st.sampled_from([COOL, HOT]),
)
ENTRIES: Final = any_of(
    games.RecordEntry,
    player=PLAYERS,
    field=FIELDS,
    game=(None, None, *GAMES),
    colour=("red", "blue"),
    knew=tuple(
        games.Knowledge(epoch=1, position=position, as_of=NINE + timedelta(minutes=minutes))
        for position, minutes in ((1, 0), (90, 65), (10**6, 65))
    ),
    answer=("cleared", "not_cleared"),
)
"""Let in while the gate had no network, whatever it knew."""
FACTS: Final = st.one_of(
    any_of(equipment.ReturnGear, player=PLAYERS, marker=MARKERS),
    any_of(equipment.QuarantineGear, marker=MARKERS, fault=("leak", "jam")),
    any_of(equipment.InspectGear, player=st.just("p1"), marker=st.just("own1"), barrel_cover=st.booleans()),
    st.builds(payment, st.sampled_from(("pay-5", "pay-6", "pay-7")), st.sampled_from(PLAYERS)),
    st.builds(consent, st.sampled_from(_persons[2:])),
    any_of(registration.WithdrawConsent, person=_persons[2:], guardian=st.just("parent")),
    any_of(
        registration.RecordGuardianLeft,
        guardian=st.just("parent"),
        players=st.just(("p3",)),
        responsible=("person-p1", None),
    ),
    any_of(registration.RecordLeft, player=PLAYERS),
    any_of(registration.HandOverMinor, player=PLAYERS, adult=st.just("parent")),
    any_of(games.RecordOut, player=PLAYERS, field=FIELDS, cause=("eliminated", "walked_off")),
    ENTRIES,
    any_of(games.AskHold, hold=("w1", "w2"), field=(*FIELDS, None), cause=("weather", "injury")),
    any_of(games.InspectField, field=FIELDS, passed=st.booleans()),
    any_of(games.EndGame, game=GAMES),
    any_of(games.AbandonGame, game=GAMES),
    any_of(games.CountHeads, game=GAMES, counted=(0, 1, 2)),
    any_of(games.SweepField, game=GAMES, search_open=st.booleans()),
    any_of(games.FindPlayer, player=PLAYERS, game=GAMES, place=("desk", "car_park")),
    any_of(duty.EndDuty, staff=("ref-birch", "ref-fern", "aid")),
    any_of(incidents.RecordUnfit, player=PLAYERS, cause=("injured", "medical")),
    any_of(park.RecordWeather, temperature_c=(10.0, 30.0)),
    SKY,
    INSTRUMENTS,
    READINGS,
)
"""What happens; each may be told late."""

REQUESTS: Final = st.one_of(
    any_of(discipline.ConfirmEjection, player=PLAYERS, caution=CAUTIONS),
    any_of(discipline.RuleSeparateAct, player=PLAYERS, caution=CAUTIONS),
    any_of(discipline.VoidCaution, caution=CAUTIONS, cause=st.just("wrong_player")),
    any_of(discipline.ReinstatePlayer, player=PLAYERS),
    any_of(equipment.IssueGear, player=PLAYERS, marker=MARKERS),
    any_of(equipment.HandOverMarker, marker=MARKERS, giver=PLAYERS, taker=PLAYERS),
    any_of(equipment.SwapMarker, player=PLAYERS, returned=MARKERS, marker=MARKERS),
    any_of(equipment.ReleaseGear, marker=MARKERS),
    any_of(registration.VoidPayment, payment=("pay-1", "pay-2", "pay-3", "pay-5"), error=st.just("payment_failed")),
    any_of(registration.RecordReturn, player=PLAYERS),
    any_of(
        registration.Refund,
        refund=st.just("r"),
        payment=("pay-1", "pay-3"),
        player=PLAYERS,
        amount_minor=(2500,),
        override=(None, "goodwill"),
    ),
    any_of(duty.StartDuty, staff=st.just("ref-fern"), post=st.just("referee"), field=FIELDS),
    any_of(games.LiftHold, hold=("w1", "w2"), field=FIELDS, swept=st.just(True)),  # noqa: FBT003 - it is a field's value
    any_of(incidents.DeclareFit, player=PLAYERS),
    OPENINGS,
)
"""What is asked for, and may be refused."""

GATE: Final = st.one_of(
    any_of(games.StartGame, game=GAMES),
    any_of(games.AdmitPlayer, player=PLAYERS, field=FIELDS, game=GAMES, colour=("red", "blue")),
)
LATE: Final = st.sampled_from([0, 0, 0, 1, 8, 45]).map(lambda minutes: timedelta(minutes=minutes))
