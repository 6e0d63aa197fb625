"""Clearance as the gate asks for it: every service's rules at once, on a day that went through the real commands."""

from datetime import timedelta

import msgspec
import pytest

from contracts.discipline import Caution, ConfirmEjection
from contracts.duty import Qualification, RegisterStaff, StartDuty
from contracts.envelope import Unknown
from contracts.equipment import HandOverMarker, IssueGear, QuarantineGear, RegisterMarker, RegisterMask, SwapMarker
from contracts.games import (
    AbandonGame,
    CallGame,
    ConfigureField,
    CountHeads,
    EndGame,
    Entrant,
    GameStarted,
    InspectField,
    StartGame,
    StartRefused,
)
from contracts.incidents import RecordUnfit
from contracts.park import AdoptRules, OpenDay
from contracts.registration import (
    AssignRotation,
    HoldBriefing,
    RecordPayment,
    Refund,
    RefundGranted,
    RefundRefused,
    RegisterPerson,
    RegisterPlayer,
    SignWaiver,
)
from contracts.rules import BriefingRules, Rules
from contracts.velocity import CheckChrono, RegisterChrono, TestMarker
from deploy.services import SERVICES
from services.clearance import model
from services.core.rules import RULES
from tests.unit.scenario import NINE, Scenario

HANDLERS = [handler for service in SERVICES for handler in service.handlers]


def ready_player(park: Scenario, number: int) -> str:
    """A hired adult who lacks nothing."""
    player, person, marker, mask = f"p{number}", f"h{number}", f"m{number}", f"k{number}"
    park.when(RegisterPerson(person=person, age_band=18))
    park.when(SignWaiver(person=person, wording="w1"))
    park.when(RegisterPlayer(player=player, person=person, day_pass=f"pass{number}", armband=number))
    park.when(
        RecordPayment(payment=f"pay{number}", players=(player,), purpose="entry", means="cash", amount_minor=2500)
    )
    park.when(HoldBriefing(briefing="b1", version=park.state(RULES).rules.briefing.version, players=(player,)))
    park.when(AssignRotation(rotation="birch-1", field="birch", players=(player,)))
    park.when(RegisterMarker(marker=marker, model="Heron"))
    park.when(TestMarker(test=f"t{number}", marker=marker, chrono="c1", readings_fps=(281, 280, 279), sealed=True))
    park.when(RegisterMask(mask=mask, model="Visor"))
    park.when(IssueGear(player=player, marker=marker, mask=mask))
    return player


@pytest.fixture
def park() -> Scenario:
    scenario = Scenario(HANDLERS)
    scenario.when(OpenDay(opened=NINE.date()))
    scenario.when(ConfigureField(field="birch", title="Birch", capacity=20))
    scenario.when(ConfigureField(field="fern", title="Fern", limit_fps=260, stop_limit_fps=275))
    scenario.when(InspectField(field="birch", passed=True))
    for staff, post, field in (("s1", "referee", "birch"), ("s2", "first_aider", None)):
        until = NINE.date() + timedelta(days=1)
        scenario.when(RegisterStaff(staff=staff, qualifications=(Qualification(post=post, until=until),)))
        scenario.when(StartDuty(staff=staff, post=post, field=field))
    scenario.when(RegisterChrono(chrono="c1"))
    scenario.when(CheckChrono(chrono="c1", good=True))
    for number in (1, 2, 3):
        ready_player(scenario.at(number), number)
    return scenario.at(10)


def codes(park: Scenario, player: str = "p1", field: str = "birch", day_pass: str | None = None) -> list[str]:
    given = park.load(lambda given: {(RULES, ""), *model.subjects(player, field)(given)})
    return [one.code for one in model.reasons(given, player, field, park.moment(), day_pass)]


def called(park: Scenario, game: str, *players: str) -> None:
    entrants = tuple(Entrant(player=player, colour="red") for player in players)
    park.when(CallGame(game=game, field="birch", rotation="birch-1", entrants=entrants))


def played(park: Scenario, game: str, start: float, *players: str, minutes: float = 15) -> None:
    """One game from its list to its head-count."""
    called(park.at(start), game, *players)
    (started,) = park.when(StartGame(game=game))
    assert isinstance(started, GameStarted), started
    park.at(start + minutes).when(EndGame(game=game))
    park.when(CountHeads(game=game, counted=len(players)))


def test_a_player_who_lacks_nothing_is_cleared(park):
    assert codes(park) == []


def test_the_same_string_clears_for_one_field_and_not_for_the_slower_one(park):
    assert codes(park, field="fern") == ["too_fast"]


def test_nobody_is_cleared_who_is_not_known(park):
    assert "unknown_player" in codes(park, "nobody")


def test_everything_that_is_missing_is_said_at_once(park):
    park.when(RegisterPerson(person="h9", age_band=10))
    park.when(RegisterPlayer(player="p9", person="h9", day_pass="pass9", armband=9))  # noqa: S106
    assert codes(park, "p9") == [
        "entry_unpaid",
        "too_young",
        "waiver_missing",
        "consent_missing",
        "briefing_missing",
        "mask_missing",
        "marker_missing",
    ]


def test_a_marker_that_is_handed_over_takes_its_test_along(park):
    park.when(HandOverMarker(marker="m1", giver="p1", taker="p2"))
    assert codes(park, "p1") == ["marker_missing"]
    assert codes(park, "p2") == []


def test_a_swapped_marker_counts_by_its_own_test_and_not_by_the_old_one(park):
    park.when(RegisterMarker(marker="m9", model="Heron"))
    park.when(SwapMarker(player="p1", returned="m1", marker="m9"))
    assert codes(park) == ["marker_not_tested"]


def test_quarantine_stops_whoever_holds_the_marker(park):
    park.when(QuarantineGear(marker="m1", fault="leak"))
    assert codes(park) == ["marker_quarantined"]


def test_whoever_is_unwell_is_not_cleared(park):
    park.when(RecordUnfit(player="p1", cause="intoxicated"))
    assert codes(park) == ["unfit"]


def test_an_event_that_nobody_can_read_clears_nobody_whom_it_concerns(park):
    event = msgspec.structs.replace(
        park.events[-1],
        position=len(park.events) + 1,
        type="equipment.marker_blessed",
        tags=("marker:m1",),
        data=Unknown(type="equipment.marker_blessed", version=1, why="unknown type or version"),
    )
    park.record(event)
    assert codes(park, "p1") == ["record_not_understood"]
    assert codes(park, "p2") == []


def test_a_start_names_every_offender_at_once_and_admits_nobody(park):
    park.when(RecordUnfit(player="p1", cause="injured"))
    park.when(QuarantineGear(mask="k2", fault="strap"))
    called(park, "g1", "p1", "p2", "p3")
    (refused,) = park.when(StartGame(game="g1"))
    assert isinstance(refused, StartRefused)
    named = {offender.player: [one.code for one in offender.reasons] for offender in refused.offenders}
    assert named == {"p1": ["unfit"], "p2": ["mask_quarantined"]}
    assert codes(park, "p3") == []
    (started,) = park.when(StartGame(game="g1", without=("p1", "p2")))
    assert [entrant.player for entrant in started.entrants] == ["p3"]
    assert codes(park, "p3") == ["already_on_field"]


def test_a_sit_out_is_served_by_the_next_full_game_of_his_rotation_and_not_by_an_abandoned_one(park):
    park.when(Caution(caution="c1", violation="wiping", player="p1", field="birch"))
    assert codes(park) == ["sitting_out"]
    called(park.at(15), "g1", "p2", "p3")
    park.when(StartGame(game="g1"))
    park.at(20).when(AbandonGame(game="g1", cause="weather"))
    park.when(CountHeads(game="g1", counted=2))
    assert codes(park) == ["sitting_out"]
    played(park, "g2", 30, "p2", "p3")
    assert codes(park) == []


def test_a_late_caution_counts_from_its_position_on_and_the_grant_before_it_stays_right(park):
    called(park, "g1", "p1", "p2")
    (started,) = park.when(StartGame(game="g1"))
    assert isinstance(started, GameStarted)
    park.at(14).when(
        Caution(caution="c1", violation="wiping", player="p1", field="birch", occurred_at=NINE + timedelta(minutes=8))
    )
    assert codes(park) == ["sitting_out", "already_on_field"]


def test_an_urgent_briefing_binds_everybody_and_another_only_whoever_arrives_after_it(park):
    park.when(AdoptRules(rules=Rules(version="r2", briefing=BriefingRules(version=2))))
    assert codes(park) == []
    ready_player(park, 4)
    park.when(AdoptRules(rules=Rules(version="r3", briefing=BriefingRules(version=3, urgent_version=2))))
    assert codes(park, "p1") == ["briefing_outdated"]
    assert codes(park, "p4") == []


def test_an_ejection_forfeits_the_entry_unless_a_manager_overrides_it_with_a_reason(park):
    park.when(Caution(caution="c1", violation="physical-contact", player="p1", field="birch"))
    assert codes(park) == ["stood_down"]
    park.at(11).when(ConfirmEjection(player="p1", caution="c1"))
    assert codes(park) == ["ejected"]
    refund = Refund(refund="r1", payment="pay1", player="p1", amount_minor=2500)
    (refused,) = park.when(refund, "desk")
    assert isinstance(refused, RefundRefused)
    assert [one.code for one in refused.reasons] == ["refund_forfeited"]
    goodwill = msgspec.structs.replace(refund, override="goodwill")
    (still,) = park.when(goodwill, "desk")
    assert isinstance(still, RefundRefused)
    (granted,) = park.when(goodwill, "manager")
    assert isinstance(granted, RefundGranted)
