"""A marker's history: what is kept of it across days, how long its days were, who has it, and that it stays small."""

from datetime import date, timedelta
from random import Random

import pytest

from contracts.equipment import GearReleased, MarkerHandedOver, MarkerSwapped
from services.velocity.creep import points
from services.velocity.hired import AMONG, FLEET, HIRED, among_day
from services.velocity.history import DAYS, ENTRIES, HISTORY, Change, Read, Spot
from services.velocity.states import BENCH
from tests.unit.marker_days import changed, issued, quarantined, registered, returned, spot, string
from tests.unit.scenario import NINE, Scenario

TODAY = NINE.date()


@pytest.fixture
def shed():
    """A hired marker that was entered at nine."""
    return Scenario().given(registered())


def history(scenario, marker="m1"):
    return scenario.state(HISTORY, marker)


def test_a_string_is_kept_as_its_figures(shed):
    shed.at(5).given(string(268.0, 270.0, 275.0))
    (read,) = history(shed).entries
    assert (read.chrono, read.n, read.mean_fps, read.highest_fps) == ("bench-1", 3, 271.0, 275.0)
    assert read.sd_fps == pytest.approx(13**0.5)


def test_a_string_at_low_pressure_says_nothing_about_the_marker_and_one_of_misreads_only_neither(shed):
    shed.at(5).given(string(240.0, 238.0, 236.0, low=True), string())
    assert history(shed).entries == ()


def test_what_changes_the_set_up_stands_between_strings_and_a_refill_does_not(shed):
    shed.at(5).given(string(268.0, 270.0), changed("refill"))
    shed.at(6).given(changed("barrel"), string(280.0, 281.0))
    shed.at(7).given(GearReleased(marker="m1", mask=None, bottle=None))
    assert [one.what if isinstance(one, Change) else one.mean_fps for one in history(shed).entries] == [
        269.0, "barrel", 280.5, "repair",
    ]  # fmt: skip


def test_readings_of_one_set_up_and_one_instrument_lie_on_one_line(shed):
    shed.at(5).given(string(268.0, 270.0), spot(272.0))
    shed.at(65).given(string(271.0, 273.0), string(271.0, chrono="bench-2"), spot(288.0, "over_bench"))
    shed.at(125).given(string(260.0, 262.0))
    lines = [(point.line[0], point.line[1], point.shots) for point in points(history(shed))]
    assert lines == [
        (0, "chrono:bench-1", 2), (0, "field", 1), (0, "chrono:bench-1", 2), (0, "chrono:bench-2", 1), (0, "field", 1),
        (1, "chrono:bench-1", 2),
    ]  # fmt: skip


def test_a_spot_check_over_the_limit_ends_the_set_up(shed):
    shed.at(5).given(spot(286.0, "over_bench"), spot(270.0))
    assert [(one.speed_fps, one.over) for one in history(shed).entries] == [(286.0, True), (270.0, False)]


def test_nights_are_no_hours_of_a_marker(shed):
    shed.at(0).given(string(268.0, 270.0))
    shed.at(120).given(returned("p1"))
    shed.at(24 * 60).given(string(268.0, 270.0))
    shed.at(24 * 60 + 90).given(spot(270.0))
    kept = history(shed)
    hours = [kept.hours(one.at) for one in kept.entries]
    assert hours == [0.0, 2.0, 3.5] == [point.hours for point in points(kept)]
    assert kept.hours(NINE + timedelta(hours=40)) == 3.5
    assert kept.hours(NINE + timedelta(hours=27), TODAY + timedelta(days=1)) == 5.0


def test_a_use_is_each_time_it_is_given_out_and_what_stops_it_is_counted_by_its_day(shed):
    shed.at(5).given(issued("p1"), MarkerHandedOver(marker="m1", giver="p1", taker="p2"), quarantined("jam"))
    shed.at(24 * 60).given(issued("p3"), quarantined("visible_damage"), quarantined("leak"))
    assert [(one.day, one.uses, one.stoppages) for one in history(shed).days] == [
        (TODAY, 2, ("jam",)), (date(2026, 5, 10), 1, ("leak",)),
    ]  # fmt: skip


def test_who_holds_it_follows_every_move(shed):
    shed.given(registered("m2"))
    for minute, event, holders in (
        (1, issued("p1"), ("p1", None)),
        (2, returned("p2"), ("p1", None)),
        (3, MarkerHandedOver(marker="m1", giver="p1", taker="p2"), ("p2", None)),
        (4, MarkerSwapped(player="p2", returned="m1", marker="m2"), (None, "p2")),
        (5, returned("p2", "m2"), (None, None)),
    ):
        shed.at(minute).given(event)
        assert (history(shed).holder, history(shed, "m2").holder) == holders


def test_a_return_told_late_does_not_take_it_from_the_next_holder(shed):
    shed.at(10).given(issued("p1")).at(30).given(issued("p2"))
    shed.at(40).given(returned("p1"), occurred_at=NINE + timedelta(minutes=20))
    assert history(shed).holder == "p2"


def test_a_players_own_marker_is_in_its_owners_hands_and_not_hired(shed):
    shed.given(registered("m9", owner="p7"))
    own = history(shed, "m9")
    assert (own.holder, own.hired, own.days[0].uses) == ("p7", False, 1)


def test_the_order_in_which_things_are_told_makes_no_difference_to_what_was_read():
    things = [string(268.0, 270.0), changed("bolt"), spot(271.0), string(275.0), quarantined("jam"), issued("p1")]
    told = list(enumerate(things))
    made = set()
    for seed in range(20):
        Random(seed).shuffle(told)  # noqa: S311 - an order
        scenario = Scenario().at(600).given(registered())
        for number, event in told:
            scenario.at(600).given(event, occurred_at=NINE + timedelta(hours=number))
        kept = history(scenario)
        entries = tuple((one.at, type(one).__name__) for one in kept.entries)
        made.add((entries, kept.days))
    assert len(made) == 1
    entries, (day,) = made.pop()
    assert [kind for _, kind in entries] == ["Read", "Change", "Spot", "Read"]
    assert (day.first, day.last) == (NINE, NINE + timedelta(minutes=600))


def test_it_is_bounded_however_long_the_marker_serves(shed):
    for day in range(DAYS + 30):
        shed.at(day * 24 * 60).given(issued("p1"), string(270.0, 271.0))
    kept = history(shed)
    assert (len(kept.entries), len(kept.days)) == (ENTRIES, DAYS)
    newest = shed.events[-1].occurred_at
    assert kept.entries[-1].at == newest
    assert kept.entries[0].at == newest - timedelta(days=ENTRIES - 1)


def test_the_rows_are_the_folds_of_the_log_and_are_read_back_as_they_were(shed):
    shed.given(registered("m9", owner="p7"))
    shed.at(5).given(string(268.0, 270.0, 269.0), spot(271.0), changed("bolt"), quarantined("jam"), issued("p1"))
    states = {}
    for event in shed.events:
        FLEET.apply([event], states)
    assert states["marker:m1"] == (history(shed), shed.state(BENCH, "m1"))
    assert {tag for tag in states if tag.startswith("among:")} == {
        f"{HIRED}m1", f"{among_day(TODAY)}m9", f"{among_day(TODAY)}m1",
    }  # fmt: skip
    assert states[f"{HIRED}m1"] == (AMONG.over(f"hired:{'m1'}", [shed.events[0]]),)
    assert {tag: FLEET.decode(tag, FLEET.encode(tag, state)) for tag, state in states.items()} == states
    kinds = {type(one) for one in states["marker:m1"][0].entries}
    assert kinds == {Read, Spot, Change}
