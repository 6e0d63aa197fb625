"""What a chronograph out of control measured is left out of a marker's history, and work on a chronograph makes another one of it."""

import pytest

from contracts.rules import ChronoRules
from contracts.velocity import ChronoAdjusted, ChronoChecked, ChronoRegistered
from services.velocity.creep import lines, points
from services.velocity.history import HISTORY, Change, Spot
from services.velocity.measured_well import measured_well
from services.velocity.states import CHRONO
from tests.unit.marker_days import changed, registered, spot, string
from tests.unit.scenario import Scenario


def checked(bias=0.0, *, good=True):
    return ChronoChecked(
        chrono="bench-1", good=good, bias_fps=bias, readings_fps=(250.0 + bias,) * 3, reference_fps=(250.0,) * 3,
        signals=() if good else ("bias",),
    )  # fmt: skip


@pytest.fixture
def park():
    return Scenario().given(ChronoRegistered(chrono="bench-1"), registered()).at(1)


def left(park):
    (history,) = measured_well([park.state(HISTORY, "m1")], {"bench-1": park.state(CHRONO, "bench-1")}, ChronoRules())
    return history


def means(park):
    return [one.mean_fps for one in left(park).entries if not isinstance(one, Change | Spot)]


def test_strings_between_the_last_good_check_and_the_next_good_one_are_left_out_where_one_between_was_bad(park):
    for minute, event in enumerate(
        (
            checked(), string(270.0), checked(), string(266.0), checked(-4.0, good=False), string(267.0), checked(),
            string(271.0),
        ),
        1,
    ):  # fmt: skip
        park.at(minute).given(event)
    assert means(park) == [270.0, 271.0]


def test_a_chronograph_that_nobody_checked_or_whose_check_is_overdue_measured_well_as_far_as_is_known(park):
    park.given(string(270.0)).at(2).given(checked()).at(60 * 10).given(string(272.0))
    assert means(park) == [270.0, 272.0]


def test_work_leaves_out_what_was_read_since_the_check_before_it_and_begins_another_line(park):
    work = ChronoAdjusted(chrono="bench-1", work="sensor")
    for minute, event in enumerate((checked(), string(270.0), checked(), string(266.0), work, string(265.0), checked(), string(274.0)), 1):  # fmt: skip
        park.at(minute).given(event)
    assert means(park) == [270.0, 274.0]
    assert [point.line[1] for point in points(left(park))] == ["chrono:bench-1", "chrono:bench-1, worked on 1 times"]


def test_a_chronograph_that_reads_low_and_is_mended_makes_no_marker_creep(park):
    work = ChronoAdjusted(chrono="bench-1", work="settings")
    told = (
        checked(), string(270.0), checked(), string(270.0), checked(), string(266.0), checked(-4.0, good=False), work,
        checked(), string(270.0), checked(), string(270.0), checked(),
    )  # fmt: skip
    for minute, event in enumerate(told, 1):
        park.at(minute * 20).given(event)
    assert lines(points(park.state(HISTORY, "m1"))).slope != 0.0
    assert lines(points(left(park))).slope == 0.0


def test_what_no_chronograph_of_the_bench_read_stays(park):
    park.given(checked(-4.0, good=False), spot(271.0), changed("bolt"), string(270.0, chrono="bench-2"))
    assert [type(one).__name__ for one in left(park).entries] == ["Spot", "Change", "Read"]
