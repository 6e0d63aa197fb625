"""The rules of the park's office. Common practice, no source, unless a test names one."""

from datetime import date, timedelta

import pytest

from contracts.park import AdoptRules, DayOpened, OpenDay, RulesAdopted
from contracts.problems import AlreadyRecorded, NotInThatState, RuleForbids
from contracts.rules import CATALOGUE, DEFAULT, BriefingRules, DisciplineRules, Rules
from services.core.rules import RULES
from services.games.api import SERVICE as GAMES
from services.park import model
from services.park.api import SERVICE
from services.park.states import VERSIONS
from tests.unit.scenario import NINE, Scenario

TODAY = NINE.date()
TOMORROW = TODAY + timedelta(days=1)


@pytest.fixture
def park():
    return Scenario((*SERVICE.handlers, *GAMES.handlers))


def adopt(park, version, **more):
    return park.when(AdoptRules(rules=Rules(version=version, **more)))


def test_a_day_is_opened_once(park):
    assert park.when(OpenDay(opened=TODAY)) == (DayOpened(opened=TODAY),)
    with pytest.raises(AlreadyRecorded, match="2026-05-09 is open already"):
        park.when(OpenDay(opened=TODAY))
    assert park.at(24 * 60).when(OpenDay(opened=TOMORROW)) == (DayOpened(opened=TOMORROW),)


@pytest.mark.parametrize("mistyped", [date(2062, 5, 9), TOMORROW, TODAY - timedelta(days=1)])
def test_only_the_day_that_it_is_can_be_opened(park, mistyped):
    with pytest.raises(RuleForbids, match=r"\(Etc/UTC\) it is the operating day 2026-05-09, .* begins at 04:00"):
        park.when(OpenDay(opened=mistyped))


def test_the_day_that_it_is_follows_the_parks_own_clock(park):
    adopt(park, "far-east", time_zone="Pacific/Auckland")
    late = park.at(8 * 60)
    assert late.when(OpenDay(opened=TOMORROW)) == (DayOpened(opened=TOMORROW),)


def test_yesterday_is_not_opened_over_today(park):
    park.when(OpenDay(opened=TODAY))
    yesterday = OpenDay(opened=TODAY - timedelta(days=1), occurred_at=NINE - timedelta(days=1))
    with pytest.raises(NotInThatState, match="2026-05-09 is open, which is later"):
        park.when(yesterday)


def test_adopted_rules_are_in_force(park):
    wanted = Rules(version="v2", discipline=DisciplineRules(cautions_to_eject=3))
    assert park.when(AdoptRules(rules=wanted)) == (RulesAdopted(rules=wanted),)
    assert park.state(RULES).rules == wanted


def test_a_version_in_force_is_not_adopted_again(park):
    adopt(park, "v2")
    with pytest.raises(NotInThatState, match="v2 is in force already"):
        adopt(park, "v2")


def test_a_versions_name_stands_for_one_content_for_ever(park):
    adopt(park, "v2")
    adopt(park, "v3")
    with pytest.raises(AlreadyRecorded, match="v2 of the rules is recorded with other content"):
        adopt(park, "v2", clock_tolerance_minutes=9)


def test_the_name_of_the_rules_before_any_were_adopted_is_taken(park):
    with pytest.raises(AlreadyRecorded, match="default"):
        adopt(park, DEFAULT.version, clock_tolerance_minutes=9)


def test_an_earlier_version_may_be_adopted_again_as_it_was(park):
    adopt(park, "v2")
    adopt(park, "v3", clock_tolerance_minutes=9)
    adopt(park, "v2")
    assert park.state(RULES).rules.version == "v2"
    assert [one.version for one in park.state(VERSIONS).known] == ["default", "v2", "v3"]
    with pytest.raises(NotInThatState, match="v2 is in force"):
        adopt(park, "v2")


@pytest.mark.parametrize("zone", ["Europe/Atlantis", "Europe", "Etc"])
def test_a_time_zone_that_is_none_is_refused_for_no_day_could_be_told_by_it(park, zone):
    with pytest.raises(RuleForbids, match=f"no time zone {zone}"):
        adopt(park, "v2", time_zone=zone)


def test_nobody_can_be_asked_to_have_heard_a_briefing_that_is_not_given_yet(park):
    with pytest.raises(RuleForbids, match="hear version 3 of the briefing, but arrivals hear 2"):
        adopt(park, "v2", briefing=BriefingRules(version=2, urgent_version=3))
    adopt(park, "v3", briefing=BriefingRules(version=3, urgent_version=3))


def test_a_violation_stands_in_the_catalogue_once(park):
    catalogue = (*CATALOGUE, CATALOGUE[3])
    with pytest.raises(RuleForbids, match=f"more than once: {CATALOGUE[3].code}"):
        adopt(park, "v2", discipline=DisciplineRules(catalogue=catalogue))


def test_the_briefing_is_that_of_the_rules_in_force_with_cautions_that_no_rule_waives():
    rules = Rules(version="v2", briefing=BriefingRules(version=4, urgent_version=3, text="Masks on."))
    told = model.briefing("larchmoor", rules)
    assert (told.park, told.rules, told.version, told.urgent_version) == ("larchmoor", "v2", 4, 3)
    assert told.text == "Masks on."
    cautions = " ".join(told.cautions)
    for word in (
        "Eye protection",
        "barrel is covered",
        "emergency services",
        "local law",
        "insurer",
        "licensed practice",
    ):
        assert word in cautions
