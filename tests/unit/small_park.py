"""A small park that is open: four players, two of them minors, two fields with limits of their own, five markers; and what may be sent to it."""

from datetime import date, timedelta
from itertools import product
from typing import Any, Final

from hypothesis import strategies as st

from contracts import discipline, duty, equipment, games, incidents, park, registration, velocity
from contracts.envelope import Command
from deploy.services import SERVICES
from tests.unit.scenario import NINE

HANDLERS: Final = {handler.command: handler for service in SERVICES for handler in service.handlers}
BANDS: Final = {"p1": 18, "p2": 18, "p3": 12, "p4": 14}
LIMITS: Final = {"birch": 285.0, "fern": 260.0}
PLAYERS, FIELDS = tuple(BANDS), tuple(LIMITS)
CHRONOS: Final = ("k1", "k2")
MARKERS: Final = ("h1", "h2", "h3", "h4", "own1")
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
    person, own = f"person-{player}", number == 1
    marker = "own1" if own else f"h{number - 1}"
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


def set_right(player: str) -> list[Command]:
    """What makes a player ready again, as far as the record lets it: a manager's word, papers, a measured marker."""
    number = PLAYERS.index(player) + 1
    marker = "own1" if number == 1 else f"h{number - 1}"
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


def opened_again(field: str) -> list[Command]:
    """What opens a field again: inspected, its holds lifted, its staff on duty."""
    lifts: list[Command] = [games.LiftHold(hold=hold, field=field, swept=True) for hold in ("w1", "w2")]
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


def string(marker: str, speed: float, chrono: str = "k1") -> Command:
    return velocity.TestMarker(test="t", marker=marker, chrono=chrono, readings_fps=(speed, speed - 1, speed - 2))


def check(chrono: str, off_fps: float, shots: int = 3) -> Command:
    """What a chronograph that is off by so much, and a reference, read of the same shots."""
    reference = (280.0, 281.0, 279.0)[:shots]
    return velocity.CheckChrono(
        chrono=chrono, readings_fps=tuple(one + off_fps for one in reference), reference_fps=reference
    )


def _any(kind: Any, **choices: Any) -> st.SearchStrategy[Any]:
    """A command with any of these values in its fields; what is no tuple or strategy is the value itself."""
    return st.builds(
        kind, **{name: st.sampled_from(one) if isinstance(one, tuple) else one for name, one in choices.items()}
    )


_persons = tuple(f"person-{player}" for player in PLAYERS)
VIOLATIONS: Final = ("wiping", "close-shot", "overshooting", "physical-contact", "asking-for-help")
SET_UPS: Final = st.one_of(
    st.sampled_from([string(*one) for one in product(MARKERS, (250.0, 258.0, 270.0, 286.0), CHRONOS)]),
    _any(velocity.ChangeSetUp, marker=MARKERS, change=("adjuster", "barrel", "paint", "refill", "hopper")),
    _any(
        velocity.SpotCheckMarker,
        check=st.just("s"),
        marker=MARKERS,
        field=FIELDS,
        speed_fps=(255.0, 262.0, 290.0, 310.0),
    ),
)
"""What happens to a marker."""

OPENINGS: Final = _any(velocity.OpenString, test=st.just("s"), marker=MARKERS, chrono=CHRONOS)
READINGS: Final = st.one_of(
    _any(velocity.TakeReading, chrono=CHRONOS, speed_fps=(250.0, 256.0, 270.0, 282.0)),
    _any(velocity.TakeReading, chrono=CHRONOS, speed_fps=(0.0, 600.0, None)),
    _any(velocity.TakeReading, chrono=CHRONOS, speed_fps=(250.0, 290.0), misread=st.just("double_trigger")),
    _any(velocity.EndString, chrono=CHRONOS, low_pressure=st.booleans()),
)
"""What a chronograph shows, and the end of a string."""
INSTRUMENTS: Final = st.one_of(
    st.builds(check, st.sampled_from(CHRONOS), st.sampled_from((0.0, 0.0, 0.0, 1.2, -4.0)), st.sampled_from((3, 3, 2))),
    _any(velocity.CheckChrono, chrono=CHRONOS, good=st.booleans(), bias_fps=(None, -3.0)),
    _any(velocity.AdjustChrono, chrono=CHRONOS, work=("sensor", "moved")),
)
"""What happens to a chronograph."""

FACTS: Final = st.one_of(
    _any(equipment.ReturnGear, player=PLAYERS, marker=MARKERS),
    _any(equipment.QuarantineGear, marker=MARKERS, fault=("leak", "jam")),
    _any(equipment.InspectGear, player=st.just("p1"), marker=st.just("own1"), barrel_cover=st.booleans()),
    st.builds(payment, st.sampled_from(("pay-5", "pay-6", "pay-7")), st.sampled_from(PLAYERS)),
    st.builds(consent, st.sampled_from(_persons[2:])),
    _any(registration.WithdrawConsent, person=_persons[2:], guardian=st.just("parent")),
    _any(
        registration.RecordGuardianLeft,
        guardian=st.just("parent"),
        players=st.just(("p3",)),
        responsible=("person-p1", None),
    ),
    _any(registration.RecordLeft, player=PLAYERS),
    _any(registration.HandOverMinor, player=PLAYERS, adult=st.just("parent")),
    _any(games.RecordOut, player=PLAYERS, field=FIELDS, cause=("eliminated", "walked_off")),
    _any(games.AskHold, hold=("w1", "w2"), field=(*FIELDS, None), cause=("weather", "injury")),
    _any(games.InspectField, field=FIELDS, passed=st.booleans()),
    _any(games.EndGame, game=GAMES),
    _any(games.AbandonGame, game=GAMES),
    _any(games.CountHeads, game=GAMES, counted=(0, 1, 2)),
    _any(games.SweepField, game=GAMES, search_open=st.booleans()),
    _any(duty.EndDuty, staff=("ref-birch", "ref-fern", "aid")),
    _any(incidents.RecordUnfit, player=PLAYERS, cause=("injured", "medical")),
    _any(park.RecordWeather, temperature_c=(10.0, 30.0)),
    INSTRUMENTS,
    READINGS,
)
"""What happens; each may be told late."""

REQUESTS: Final = st.one_of(
    _any(discipline.ConfirmEjection, player=PLAYERS, caution=CAUTIONS),
    _any(discipline.RuleSeparateAct, player=PLAYERS, caution=CAUTIONS),
    _any(discipline.VoidCaution, caution=CAUTIONS, cause=st.just("wrong_player")),
    _any(discipline.ReinstatePlayer, player=PLAYERS),
    _any(equipment.IssueGear, player=PLAYERS, marker=MARKERS),
    _any(equipment.HandOverMarker, marker=MARKERS, giver=PLAYERS, taker=PLAYERS),
    _any(equipment.SwapMarker, player=PLAYERS, returned=MARKERS, marker=MARKERS),
    _any(equipment.ReleaseGear, marker=MARKERS),
    _any(registration.VoidPayment, payment=("pay-1", "pay-2", "pay-3", "pay-5"), error=st.just("payment_failed")),
    _any(registration.RecordReturn, player=PLAYERS),
    _any(
        registration.Refund,
        refund=st.just("r"),
        payment=("pay-1", "pay-3"),
        player=PLAYERS,
        amount_minor=(2500,),
        override=(None, "goodwill"),
    ),
    _any(duty.StartDuty, staff=st.just("ref-fern"), post=st.just("referee"), field=FIELDS),
    _any(games.LiftHold, hold=("w1", "w2"), field=FIELDS, swept=st.just(True)),  # noqa: FBT003 - it is a field's value
    _any(incidents.DeclareFit, player=PLAYERS),
    OPENINGS,
)
"""What is asked for, and may be refused."""

GATE: Final = st.one_of(
    _any(games.StartGame, game=GAMES),
    _any(games.AdmitPlayer, player=PLAYERS, field=FIELDS, game=GAMES, colour=("red", "blue")),
)
LATE: Final = st.sampled_from([0, 0, 0, 1, 8, 45]).map(lambda minutes: timedelta(minutes=minutes))
