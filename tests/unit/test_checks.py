"""The day's checks: who does them, what is done, and which of them play waits for. Common practice, no source."""

from datetime import timedelta

import pytest

from contracts.duty import CheckDone, DoCheck, EndDuty, Qualification, RegisterStaff, StartDuty
from contracts.games import AdmitPlayer, ConfigureField, GameStarted, InspectField, StartGame, StartRefused
from contracts.park import AdoptRules, DayOpened, RulesAdopted
from contracts.problems import NotAllowed, RuleForbids, UnknownSubject
from contracts.rules import DEFAULT, Check, DutyRules, Rules
from services.clearance import play
from services.clearance.checks import checks_of
from services.clearance.field import FIELDS
from services.duty.api import SERVICE as DUTY
from services.duty.checks import CHECKS, Checks, reasons
from services.games import admission
from services.games.api import SERVICE as GAMES
from services.park.api import SERVICE as PARK
from tests.unit.field_day import Gate, call, on_duty, player
from tests.unit.scenario import NINE, Scenario

TODAY = NINE.date()
NETTING = Check(code="netting", title="Netting whole", each_field=True, play_waits=True, by=("referee",))
FIRST_AID = Check(code="first-aid", title="Kit complete", when="both", play_waits=True, by=("first_aider",))
CASH = Check(code="cash", title="Cash counted", when="both")
EMPTY = Check(code="field-empty", title="Field walked", when="closing", each_field=True, play_waits=True)
RULES = Rules(version="strict", duty=DutyRules(checks=(NETTING, FIRST_AID, CASH, EMPTY)))


@pytest.fixture
def day(monkeypatch) -> Scenario:
    """Two inspected fields with a referee each, a first aider, two players: only checks can be in the way."""
    monkeypatch.setattr(admission, "clearance", Gate())
    day = Scenario((*GAMES.handlers, *DUTY.handlers)).given(RulesAdopted(rules=RULES))
    for field in ("birch", "fern"):
        day.when(ConfigureField(field=field, title=field))
        day.when(InspectField(field=field, passed=True))
    day.given(DayOpened(opened=TODAY), on_duty("r1", "referee", "birch"), on_duty("r2", "referee", "fern"))
    return day.given(on_duty("a1", "first_aider", None), player("p1"), player("p2"))


def shut(day: Scenario, field: str = "birch") -> list[str]:
    moment = day.moment()
    given = day.load(lambda given: play.subjects(field, given))
    return [one.code for one in play.shut(given, field, moment)]


def netting(day: Scenario, *faults: str, field: str = "birch", **more) -> CheckDone:
    (done,) = day.when(DoCheck(check="netting", field=field, faults=faults, **more), "referee")
    return done


def first_aid(day: Scenario, *faults: str) -> CheckDone:
    (done,) = day.when(DoCheck(check="first-aid", faults=faults), "first_aider")
    return done


def listed(day: Scenario) -> dict[tuple[str, str, str | None], str]:
    given = day.load(lambda _: {(FIELDS, ""), (CHECKS, TODAY.isoformat())})
    found = checks_of(given, day.moment())
    return {(one.when, one.check, one.field): one.standing for one in (*found.opening, *found.closing)}


def test_no_game_starts_while_a_check_that_play_waits_for_is_open_and_it_is_said_where_it_is_cleared(day):
    call(day, "g1", "p1", "p2")
    (refused,) = day.when(StartGame(game="g1"))
    assert isinstance(refused, StartRefused)
    assert refused.offenders == ()
    assert [(one.code, one.where, one.subject, one.sentence.partition("today. ")[2]) for one in refused.reasons] == [
        ("check_open", "head referee", "field:birch", "Netting whole."),
        ("check_open", "head referee", None, "Kit complete."),
    ]
    netting(day)
    first_aid(day)
    (started,) = day.when(StartGame(game="g1"))
    assert isinstance(started, GameStarted)


def test_a_check_of_one_field_opens_no_other_and_one_for_the_park_counts_on_all(day):
    netting(day)
    assert (shut(day), shut(day, "fern")) == (["check_open"], ["check_open", "check_open"])
    first_aid(day)
    assert (shut(day), shut(day, "fern")) == ([], ["check_open"])


def test_a_check_that_found_a_fault_keeps_the_field_shut_until_it_is_done_again_without(day):
    first_aid(day)
    netting(day, "damaged", "damaged", "missing")
    given = day.load(lambda given: play.subjects("birch", given))
    (reason,) = play.shut(given, "birch", day.moment())
    assert (reason.code, reason.where) == ("check_failed", "manager")
    assert reason.sentence.endswith("Netting whole: damaged, missing.")
    netting(day.at(10))
    assert shut(day) == []


def test_the_later_check_counts_in_whatever_order_the_two_are_told(day):
    first_aid(day)
    netting(day.at(20))
    netting(day.at(21), "damaged", occurred_at=NINE + timedelta(minutes=5))
    assert shut(day) == []
    netting(day.at(22), "damaged", occurred_at=NINE + timedelta(minutes=21))
    assert shut(day) == ["check_failed"]


def test_whoever_enters_a_live_field_waits_for_its_checks_too(day):
    netting(day)
    first_aid(day)
    call(day, "g1", "p1", format="respawn")
    day.when(StartGame(game="g1"))
    netting(day.at(5), "blocked")
    (refused,) = day.when(AdmitPlayer(player="p2", field="birch", game="g1"))
    assert [one.code for one in refused.reasons] == ["check_failed"]


def test_checks_done_before_the_day_is_opened_count_for_it(monkeypatch):
    monkeypatch.setattr(admission, "clearance", Gate())
    day = Scenario((*GAMES.handlers, *DUTY.handlers)).given(RulesAdopted(rules=RULES))
    day.when(ConfigureField(field="birch", title="Birch"))
    netting(day)
    first_aid(day)
    assert set(shut(day)) == {"field_not_inspected", "check_open"}
    day.given(DayOpened(opened=TODAY))
    assert shut(day) == ["field_not_inspected"]


def test_yesterdays_checks_count_for_nothing_today(day):
    netting(day)
    first_aid(day)
    day.at(24 * 60)
    assert shut(day) == ["field_not_inspected", "check_open", "check_open"]
    day.given(DayOpened(opened=TODAY + timedelta(days=1)))
    assert shut(day) == ["field_not_inspected", "check_open", "check_open"]


def test_play_waits_for_no_closing_check_and_for_none_that_the_rules_do_not_name(day):
    netting(day)
    first_aid(day)
    assert listed(day)["closing", "field-empty", "birch"] == "open"
    assert listed(day)["opening", "cash", None] == "open"
    assert shut(day) == []


def test_under_the_rules_that_nobody_adopted_play_waits_for_the_inspection_alone():
    assert not any(check.play_waits for check in DEFAULT.duty.checks)
    codes = {check.code for check in DEFAULT.duty.checks}
    assert {"netting", "field-ground", "emergency-access", "first-aid", "chronographs", "gear", "cash"} <= codes


@pytest.mark.parametrize(
    ("command", "where"),
    [
        (DoCheck(check="drains"), "$.check"),
        (DoCheck(check="netting"), "$.field"),
        (DoCheck(check="cash", field="birch"), "$.field"),
        (DoCheck(check="netting", when="closing", field="birch"), "$.when"),
        (DoCheck(check="field-empty", field="birch"), "$.when"),
    ],
)
def test_a_check_is_one_of_the_list_at_its_end_of_the_day_and_where_the_list_says(day, command, where):
    with pytest.raises(RuleForbids) as refused:
        day.when(command, "manager")
    assert refused.value.extensions["where"] == where


def test_a_check_is_done_by_whom_the_rules_name_or_by_the_head_referee_or_the_manager(day):
    with pytest.raises(NotAllowed, match="head referee, manager, referee"):
        day.when(DoCheck(check="netting", field="birch"), "desk")
    for role in ("referee", "head_referee", "manager"):
        day.when(DoCheck(check="netting", field="birch"), role)
    day.when(DoCheck(check="cash"), "staging")


@pytest.mark.parametrize(
    ("checks", "said"),
    [
        ((CASH, CASH), "In the list of checks more than once: cash"),
        ((EMPTY,), "Play cannot wait for field-empty, which is done at closing"),
    ],
)
def test_rules_that_list_a_check_twice_or_let_play_wait_for_the_closing_are_not_adopted(checks, said):
    park = Scenario(PARK.handlers)
    with pytest.raises(RuleForbids, match=said):
        park.when(AdoptRules(rules=Rules(version="unsound", duty=DutyRules(checks=checks))))
    park.when(AdoptRules(rules=Rules(version="sound", duty=DutyRules(checks=(CASH, NETTING)))))


def test_a_check_names_a_field_that_the_park_has(day):
    with pytest.raises(UnknownSubject, match="field heath"):
        netting(day, field="heath")


def test_the_list_says_what_is_done_what_is_open_and_what_failed_in_words(day):
    netting(day)
    netting(day, "damaged", field="fern")
    given = day.load(lambda _: {(FIELDS, ""), (CHECKS, TODAY.isoformat())})
    found = checks_of(given, day.moment())
    assert found.summary == "Opening: 1 with faults, 2 open. Closing: 4 open."
    assert [(one.check, one.field, one.standing, one.sentence) for one in found.opening] == [
        ("netting", "fern", "failed", "Netting whole (field fern): damaged. No game starts there until it has passed."),
        ("first-aid", None, "open", "Kit complete: not done yet. No game starts until it has passed."),
        ("cash", None, "open", "Cash counted: not done yet."),
        ("netting", "birch", "passed", "Netting whole (field birch): passed."),
    ]
    done = found.opening[-1]
    assert (done.at, done.by, done.faults) == (day.now, "test", ())


def test_a_record_of_checks_that_cannot_be_read_lets_no_game_start(day):
    (found,) = reasons(Checks(TODAY.isoformat(), unreadable=True), "birch", day.moment())
    assert found.code == "record_not_understood"


def test_a_first_aider_whose_qualification_is_withdrawn_during_the_day_is_off_duty_and_no_game_starts(day):
    netting(day)
    first_aid(day)
    assert staffing(day) == []
    day.at(5).when(RegisterStaff(staff="a1", qualifications=()))
    assert staffing(day) == ["no_first_aider"]
    day.at(6).when(EndDuty(staff="a1"))
    day.when(RegisterStaff(staff="a1", qualifications=(Qualification(post="first_aider", until=TODAY),)))
    day.when(StartDuty(staff="a1", post="first_aider"))
    assert staffing(day) == []


def test_the_gate_is_told_that_nobody_looks_after_a_field_and_that_no_first_aider_is_there(day):
    netting(day)
    first_aid(day)
    assert at_the_gate(day) == []
    day.at(5).when(RegisterStaff(staff="r1", qualifications=()))
    day.when(RegisterStaff(staff="a1", qualifications=()))
    assert at_the_gate(day) == ["too_few_referees", "no_first_aider"]
    assert at_the_gate(day, "fern") == ["check_open", "no_first_aider"]


def at_the_gate(day: Scenario, field: str = "birch") -> list[str]:
    given = day.load(lambda given: play.subjects(field, given))
    return [one.code for one in play.at_the_gate(given, field, day.moment())]


def staffing(day: Scenario) -> list[str]:
    given = day.load(lambda given: play.subjects("birch", given))
    return [one.code for one in play.reasons(given, "birch", day.moment(), None, 2)]
