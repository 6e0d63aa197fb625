"""The head-count: the number is typed, scans account for people, who is missing is named, and a sweep releases the field."""

from datetime import timedelta

import pytest

from contracts.games import (
    AdmitPlayer,
    CountHeads,
    EndGame,
    FindPlayer,
    HeadsCounted,
    InspectField,
    PlayerFound,
    RecordOut,
    SweepField,
)
from contracts.problems import UnknownSubject
from contracts.registration import PlayerLeft
from services.clearance.field import FIELD, reasons
from services.games import admission
from tests.unit.field_day import Gate, field_day, on_duty, player, shut, start
from tests.unit.scenario import NINE


@pytest.fixture
def day(monkeypatch):
    monkeypatch.setattr(admission, "clearance", Gate())
    day = field_day().given(player("photo", "photographer"))
    start(day, "g1", "p1", "p2", "p3")
    return day


def count(day, counted, *accounted, **more) -> HeadsCounted:
    (event,) = day.when(CountHeads(game="g1", counted=counted, accounted=accounted, **more))
    return event


def end(day, minutes=10):
    day.at(minutes).when(EndGame(game="g1"))
    return day.at(minutes + 1)


def test_everybody_counted_releases_the_field(day):
    counted = count(end(day), 3)
    assert counted == HeadsCounted(field="birch", game="g1", expected=3, counted=3, accounted=(), missing=())
    assert shut(day) == []


def test_one_head_too_few_names_everybody_who_might_be_missing(day):
    counted = count(end(day), 2)
    assert (counted.expected, counted.missing) == (3, ("p1", "p2", "p3"))
    (reason,) = reasons(day.state(FIELD, "birch"), day.moment())
    assert (reason.code, reason.where) == ("heads_missing", "head referee")
    assert reason.sentence.endswith("Game g1: p1, p2, p3.")


def test_a_scan_elsewhere_accounts_for_a_player_in_this_count_and_the_next(day):
    first = count(end(day), 1, "p1")
    assert (first.expected, first.missing) == (2, ("p2", "p3"))
    second = count(day.at(13), 1, "p2")
    assert (second.expected, second.accounted, second.missing) == (1, ("p2",), ())
    assert shut(day) == []


def test_one_head_too_many_names_nobody_and_releases_nothing(day):
    counted = count(end(day), 4)
    assert counted.missing == ()
    assert shut(day) == ["heads_missing"]


def test_who_was_recorded_out_is_off_the_field_and_not_counted_again(day):
    day.at(4).when(RecordOut(player="p1", field="birch", cause="eliminated"))
    assert count(end(day), 2).expected == 2
    assert shut(day) == []


def test_who_has_left_the_park_or_plays_elsewhere_is_accounted_for(day):
    end(day)
    day.when(InspectField(field="fern", passed=True))
    day.given(PlayerLeft(player="p1"), on_duty("s3", "referee", "fern"))
    start(day, "g2", "p2", field="fern")
    counted = count(day.at(12), 1)
    assert (counted.expected, counted.accounted) == (1, ("p1", "p2"))
    assert shut(day) == []


def test_who_enters_without_playing_is_counted_with_and_without_a_game(day):
    day.given(player("guide", "chaperone"))
    day.at(2).when(AdmitPlayer(player="photo", field="birch"))
    assert count(end(day), 4).expected == 4
    day.at(20).when(AdmitPlayer(player="guide", field="birch"))
    start(day, "g2", "p1")
    day.at(30).when(EndGame(game="g2"))
    (counted,) = day.when(CountHeads(game="g2", counted=1))
    assert (counted.expected, counted.missing) == (2, ("p1", "guide"))
    day.at(31).when(RecordOut(player="guide", field="birch", cause="walked_off"))
    (counted,) = day.when(CountHeads(game="g2", counted=1))
    assert (counted.expected, shut(day)) == (1, [])


def test_a_count_of_before_the_end_releases_nothing(day):
    count(day.at(5), 3)
    assert shut(end(day)) == ["heads_missing"]


def test_a_count_told_before_the_end_is_told_releases_the_field_with_it(day):
    count(day.at(11), 3)
    day.at(40).when(EndGame(game="g1", occurred_at=NINE + timedelta(minutes=10)))
    assert shut(day) == []


def test_the_latest_count_holds_in_whatever_order_counts_are_told(day):
    end(day)
    count(day.at(20), 2)
    count(day.at(21), 3, occurred_at=NINE + timedelta(minutes=15))
    assert shut(day) == ["heads_missing"]
    count(day.at(22), 3)
    assert shut(day) == []


def test_a_signed_sweep_with_an_open_search_releases_the_field_and_keeps_the_names(day):
    count(end(day), 2)
    day.at(15).when(SweepField(game="g1", search_open=True))
    assert shut(day) == []
    heads = day.state(FIELD, "birch").runs["g1"].heads
    assert (heads.search_open, heads.missing) == (True, ("p1", "p2", "p3"))
    count(day.at(20), 2, "p3")
    heads = day.state(FIELD, "birch").runs["g1"].heads
    assert (heads.search_open, heads.missing) == (False, ())


@pytest.mark.parametrize("counted", [None, 2])
def test_a_sweep_without_a_search_does_not_release_a_field_with_somebody_missing_or_nothing_counted(day, counted):
    end(day)
    if counted is not None:
        count(day, counted)
    day.at(15).when(SweepField(game="g1", search_open=False))
    assert shut(day) == ["heads_missing"]


def test_a_sweep_settles_a_count_that_found_a_head_too_many(day):
    count(end(day), 4)
    day.at(15).when(SweepField(game="g1", search_open=False))
    assert shut(day) == []


def test_a_scan_names_somebody_known(day):
    with pytest.raises(UnknownSubject, match="player p9"):
        count(end(day), 2, "p9")


def find(day, name, place="desk", **more) -> PlayerFound:
    (event,) = day.when(FindPlayer(player=name, game="g1", place=place, **more))
    return event


def heads(day):
    return day.state(FIELD, "birch").runs["g1"].heads


def test_a_count_too_high_says_so_and_asks_for_another(day):
    count(end(day), 4)
    (reason,) = reasons(day.state(FIELD, "birch"), day.moment())
    assert "4 came off where 3 were expected. Count again" in reason.sentence
    count(day.at(12), 3)
    assert shut(day) == []


def test_a_field_that_nobody_counted_says_that_it_awaits_its_count(day):
    (reason,) = reasons(end(day).state(FIELD, "birch"), day.moment())
    assert reason.sentence.endswith("Game g1 awaits its count.")


def test_the_search_is_over_once_the_last_who_was_missing_is_found_and_not_before(day):
    count(end(day), 0, "p1")
    day.at(15).when(SweepField(game="g1", search_open=True))
    find(day.at(20), "p2")
    assert (heads(day).search_open, heads(day).missing) == (True, ("p3",))
    assert find(day.at(30), "p3", "car_park") == PlayerFound(player="p3", game="g1", field="birch", place="car_park")
    assert (heads(day).search_open, heads(day).missing, shut(day)) == (False, (), [])


def test_one_of_three_who_might_be_missing_who_is_found_may_have_been_counted_so_the_field_stays_shut(day):
    count(end(day), 2)
    find(day.at(12), "p3")
    assert shut(day) == ["heads_missing"]
    (reason,) = reasons(day.state(FIELD, "birch"), day.moment())
    assert reason.sentence.endswith("Game g1: p1, p2.")
    assert count(day.at(13), 2).expected == 2
    assert shut(day) == []


def test_a_field_opens_without_a_sweep_once_everybody_who_was_missing_is_found(day):
    count(end(day), 0)
    for minute, name in enumerate(("p1", "p2", "p3"), 12):
        assert shut(day) == ["heads_missing"]
        find(day.at(minute), name)
    assert shut(day) == []


def test_who_was_seen_before_the_end_of_the_game_may_have_gone_on_again_and_stays_missing(day):
    count(end(day), 2)
    find(day.at(20), "p3", occurred_at=NINE + timedelta(minutes=9))
    assert heads(day).missing == ("p1", "p2", "p3")


def test_who_is_scanned_before_the_count_is_not_expected_by_it(day):
    find(end(day), "p3")
    assert (count(day, 2).expected, shut(day)) == (2, [])


def test_a_search_that_was_opened_without_a_count_stays_open_until_one_settles_it(day):
    end(day).when(SweepField(game="g1", search_open=True))
    find(day.at(12), "p1")
    assert heads(day).search_open
    count(day.at(13), 2)
    assert (heads(day).search_open, shut(day)) == (False, [])


def test_whoever_is_found_is_somebody_known(day):
    with pytest.raises(UnknownSubject, match="player p9"):
        find(end(day), "p9")
