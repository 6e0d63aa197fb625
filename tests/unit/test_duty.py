"""The rules of duty. Ratios and terms are the park's own rules: common practice, no source."""

from datetime import date, timedelta

import msgspec
import pytest

from contracts.duty import DutyEnded, DutyRefused, DutyStarted, EndDuty, Qualification, RegisterStaff, StartDuty
from contracts.envelope import Basis
from contracts.games import FieldConfigured
from contracts.limits import Limit
from contracts.park import DayOpened, RulesAdopted
from contracts.problems import NotInThatState, RuleForbids, UnknownSubject
from contracts.rules import GameRules, Rules
from services.duty import model
from services.duty.api import SERVICE
from services.duty.states import FIELD_STAFF, OPENED_DAY, PARK_STAFF, STAFF
from tests.unit.scenario import NINE, Scenario

TODAY = NINE.date()
TOMORROW = TODAY + timedelta(days=1)


def field(name: str) -> FieldConfigured:
    return FieldConfigured(
        field=name,
        title=name,
        limit_fps=285,
        stop_limit_fps=300,
        age_floor=12,
        calibres=(".68",),
        firing_modes=("semi",),
        capacity=40,
        limit=Limit(),
    )


def qualify(scenario: Scenario, staff: str, *posts: str, until: date = TODAY) -> None:
    scenario.when(
        RegisterStaff(staff=staff, qualifications=tuple(Qualification(post=post, until=until) for post in posts))
    )


@pytest.fixture
def park() -> Scenario:
    scenario = Scenario(SERVICE.handlers).given(field("birch"), field("fern"), DayOpened(opened=TODAY))
    for name in ("r1", "r2", "r3"):
        qualify(scenario, name, "referee", "first_aider", until=date(2027, 1, 1))
    qualify(scenario, "h1", "head_referee")
    return scenario.at(10)


def referees(scenario: Scenario, name: str = "birch") -> int:
    return model.on_duty(scenario.state(FIELD_STAFF, name).roster, model.REFEREES, scenario.moment().day)


def codes(scenario: Scenario, players: int, name: str = "birch") -> list[str]:
    found = model.reasons(scenario.state(FIELD_STAFF, name), scenario.state(PARK_STAFF), players, scenario.moment())
    return [one.code for one in found]


def test_one_referee_looks_after_fifteen_players_and_the_sixteenth_needs_a_second(park):
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    park.when(StartDuty(staff="r3", post="first_aider"))
    assert codes(park, 15) == []
    assert codes(park, 16) == ["too_few_referees"]
    park.when(StartDuty(staff="r2", post="referee", field="birch"))
    assert codes(park, 16) == codes(park, 30) == []
    assert codes(park, 31) == ["too_few_referees"]


def test_even_two_players_need_a_referee_and_nobody_plays_without_a_first_aider(park):
    assert codes(park, 2) == codes(park, 0) == ["too_few_referees", "no_first_aider"]
    found = model.reasons(park.state(FIELD_STAFF, "birch"), park.state(PARK_STAFF), 20, park.moment())
    assert [(one.subject, one.sentence.partition(". ")[2]) for one in found] == [
        ("field:birch", "20 players need 2; on duty: 0."),
        (None, "Needed: 1; on duty: 0."),
    ]


def test_the_parks_own_rules_set_the_ratio_and_the_number_of_first_aiders(park):
    games = GameRules(players_per_referee=4, first_aiders=2)
    park.given(RulesAdopted(rules=Rules(version="strict", games=games)))
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    park.when(StartDuty(staff="r3", post="first_aider"))
    assert codes(park, 4) == ["no_first_aider"]
    park.when(StartDuty(staff="r2", post="first_aider"))
    assert codes(park, 4) == []
    assert codes(park, 5) == ["too_few_referees"]


def test_referees_of_another_field_do_not_count(park):
    park.when(StartDuty(staff="r1", post="referee", field="fern"))
    assert (referees(park, "birch"), referees(park, "fern")) == (0, 1)


def test_the_head_referee_counts_where_he_stands_at_a_field_and_not_for_the_park_alone(park):
    park.when(StartDuty(staff="h1", post="head_referee"))
    assert referees(park) == 0
    park.when(StartDuty(staff="h1", post="head_referee", field="birch"))
    assert referees(park) == 1


def test_a_head_referee_may_referee_and_a_referee_may_not_be_head_referee(park):
    (granted,) = park.when(StartDuty(staff="h1", post="referee", field="birch"))
    (refused,) = park.when(StartDuty(staff="r1", post="head_referee"))
    assert isinstance(granted, DutyStarted)
    assert [one.code for one in refused.reasons] == ["staff_not_qualified"]


def test_one_person_at_two_posts_of_a_field_is_counted_once(park):
    qualify(park, "r1", "referee", "head_referee")
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    park.when(StartDuty(staff="r1", post="head_referee", field="birch"))
    assert referees(park) == 1


def test_starting_the_same_duty_twice_changes_nothing(park):
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    assert referees(park) == 1


def test_a_qualification_holds_on_its_last_day_and_not_on_the_next(park):
    qualify(park, "r1", "referee", until=TODAY)
    (granted,) = park.when(StartDuty(staff="r1", post="referee", field="birch"))
    assert granted.qualified_until == TODAY
    park.at(24 * 60).given(DayOpened(opened=TOMORROW))
    (refused,) = park.when(StartDuty(staff="r1", post="referee", field="birch"))
    assert isinstance(refused, DutyRefused)
    assert refused.reasons[0].sentence.endswith(f"ran out after {TODAY}.")
    assert refused.basis.now == park.now


def test_whoever_was_never_qualified_is_refused_on_the_record(park):
    qualify(park, "d1", "desk")
    (refused,) = park.when(StartDuty(staff="d1", post="first_aider"))
    assert (refused.staff, refused.post) == ("d1", "first_aider")
    assert [one.code for one in refused.reasons] == ["staff_not_qualified"]
    assert "no_first_aider" in codes(park, 2)


def test_nobody_goes_on_duty_before_the_day_is_open(park):
    park.at(24 * 60)
    (refused,) = park.when(StartDuty(staff="r1", post="referee", field="birch"))
    assert [one.code for one in refused.reasons] == ["day_not_open"]
    fresh = Scenario(SERVICE.handlers)
    qualify(fresh, "r1", "first_aider")
    (refused,) = fresh.when(StartDuty(staff="r1", post="first_aider"))
    assert [one.code for one in refused.reasons] == ["day_not_open"]


def test_yesterdays_duty_counts_for_nothing_today(park):
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    park.when(StartDuty(staff="r2", post="first_aider"))
    assert codes(park, 2) == []
    park.at(24 * 60)
    assert codes(park, 2) == ["too_few_referees", "no_first_aider"]


def test_a_grant_recorded_by_another_desk_counts_only_while_its_qualification_is_in_date(park):
    basis = Basis(now=park.now, rules="default", position=1)
    yesterday = TODAY - timedelta(days=1)
    park.given(DutyStarted(basis=basis, staff="r9", post="referee", field="birch", qualified_until=yesterday))
    assert referees(park) == 0
    park.given(DutyStarted(basis=basis, staff="r9", post="referee", field="birch", qualified_until=TODAY))
    assert referees(park) == 1


def test_going_off_duty_ends_every_post_at_the_field_and_for_the_park(park):
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    park.when(StartDuty(staff="r1", post="first_aider"))
    assert codes(park, 2) == []
    (ended,) = park.at(60).when(EndDuty(staff="r1"))
    assert ended == DutyEnded(staff="r1", field="birch")
    assert codes(park, 2) == ["too_few_referees", "no_first_aider"]


def test_starting_at_another_field_moves_the_referee_who_remains_a_first_aider_for_the_park(park):
    park.when(StartDuty(staff="r1", post="first_aider"))
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    (moved,) = park.at(30).when(StartDuty(staff="r1", post="referee", field="fern"))
    assert (moved.left, moved.field) == ("birch", "fern")
    assert (referees(park, "birch"), referees(park, "fern")) == (0, 1)
    assert codes(park, 2, "fern") == []
    park.at(40).when(StartDuty(staff="r1", post="referee", field="birch"))
    assert (referees(park, "birch"), referees(park, "fern")) == (1, 0)


def test_a_first_aider_who_leaves_a_field_to_referee_another_is_no_first_aider_any_more(park):
    park.when(StartDuty(staff="r1", post="first_aider", field="birch"))
    park.at(20).when(StartDuty(staff="r1", post="referee", field="fern"))
    assert codes(park, 2, "fern") == ["no_first_aider"]


def test_an_end_told_late_does_not_take_off_who_has_come_back_since(park):
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    park.at(30).when(EndDuty(staff="r1"))
    park.at(60).when(StartDuty(staff="r1", post="referee", field="birch"))
    park.at(70).when(EndDuty(staff="r1", occurred_at=NINE + timedelta(minutes=31)))
    assert referees(park) == 1
    park.when(EndDuty(staff="r1", occurred_at=NINE + timedelta(minutes=65)))
    assert referees(park) == 0


def test_a_start_cannot_be_claimed_for_a_time_before_an_end_or_a_start_that_is_known(park):
    early = StartDuty(staff="r1", post="referee", field="birch", occurred_at=NINE + timedelta(minutes=20))
    park.at(60).when(EndDuty(staff="r1"))
    with pytest.raises(NotInThatState, match="10:00:00"):
        park.at(70).when(early)
    park.when(StartDuty(staff="r1", post="referee", field="fern"))
    with pytest.raises(NotInThatState, match="10:10:00"):
        park.at(80).when(early)
    assert (referees(park, "birch"), referees(park, "fern")) == (0, 1)


def test_a_start_that_reaches_the_record_after_a_later_end_puts_nobody_on(park):
    started = DutyStarted(
        basis=Basis(now=NINE, rules="default", position=1),
        staff="r1",
        post="referee",
        field="birch",
        qualified_until=TODAY,
    )
    park.given(DutyEnded(staff="r1", field="birch"), occurred_at=NINE + timedelta(minutes=60))
    park.given(started, occurred_at=NINE + timedelta(minutes=20))
    assert referees(park) == 0
    park.given(started, occurred_at=NINE + timedelta(minutes=61))
    assert referees(park) == 1


def test_a_move_that_reaches_the_record_after_a_later_return_to_the_field_takes_nobody_off_it(park):
    basis = Basis(now=NINE, rules="default", position=1)
    start = {"basis": basis, "staff": "r1", "post": "first_aider", "qualified_until": TODAY}
    park.given(DutyStarted(field="birch", **start), occurred_at=NINE + timedelta(minutes=60))
    park.given(DutyStarted(field="fern", left="birch", **start), occurred_at=NINE + timedelta(minutes=20))
    assert park.state(STAFF, "r1").field == "birch"
    assert [one.staff for one in park.state(FIELD_STAFF, "birch").roster.duties] == ["r1"]


def test_a_start_of_yesterday_told_today_leaves_todays_staff_alone(park):
    park.at(24 * 60).given(DayOpened(opened=TOMORROW))
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    park.at(24 * 60 + 5).when(StartDuty(staff="r2", post="referee", field="birch", occurred_at=NINE))
    park.when(EndDuty(staff="r1", occurred_at=NINE + timedelta(minutes=5)))
    assert referees(park) == 1


def test_whoever_loses_the_qualification_for_his_post_goes_off_duty(park):
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    renewed = park.when(RegisterStaff(staff="r1", qualifications=(Qualification(post="referee", until=TOMORROW),)))
    assert len(renewed) == 1
    _, ended = park.when(RegisterStaff(staff="r1", qualifications=(Qualification(post="desk", until=TOMORROW),)))
    assert ended == DutyEnded(staff="r1", field="birch")
    assert referees(park) == 0


def test_a_list_of_qualifications_told_late_does_not_undo_a_newer_one(park):
    qualify(park.at(60), "r1", "desk")
    park.when(
        RegisterStaff(
            staff="r1",
            qualifications=(Qualification(post="referee", until=TODAY),),
            occurred_at=NINE + timedelta(minutes=30),
        )
    )
    assert [one.post for one in park.state(STAFF, "r1").qualifications] == ["desk"]


def test_a_referee_needs_a_field_and_every_name_must_be_known(park):
    with pytest.raises(RuleForbids, match="Name the field"):
        park.when(StartDuty(staff="r1", post="referee"))
    with pytest.raises(UnknownSubject, match="field moor"):
        park.when(StartDuty(staff="r1", post="referee", field="moor"))
    with pytest.raises(UnknownSubject, match="staff r9"):
        park.when(StartDuty(staff="r9", post="first_aider"))
    with pytest.raises(UnknownSubject, match="staff r9"):
        park.when(EndDuty(staff="r9"))


def test_what_is_remembered_survives_being_written_down(park):
    park.when(StartDuty(staff="r1", post="referee", field="birch"))
    park.when(EndDuty(staff="r1"))
    park.at(20).when(StartDuty(staff="r1", post="referee", field="birch"))
    for fold, subject in ((STAFF, "r1"), (FIELD_STAFF, "birch"), (PARK_STAFF, ""), (OPENED_DAY, "")):
        state = park.state(fold, subject)
        assert state != fold.start(subject)
        assert msgspec.json.decode(msgspec.json.encode(state), type=type(state)) == state
