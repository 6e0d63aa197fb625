"""A slope needs two different hours on one line: rounding alone must not make one."""

from hypothesis import given
from hypothesis import strategies as st

from services.velocity.creep import Point, lines

HOURS = st.floats(0, 500, allow_nan=False)
SPEEDS = st.floats(100, 400, allow_nan=False)


def point(line: str, hours: float, speed: float = 270.0, shots: int = 3) -> Point:
    return Point((0, line), hours, speed, shots)


@given(HOURS, SPEEDS, st.integers(1, 20))
def test_one_string_has_no_slope_whatever_its_hour(hours, speed, shots):
    assert lines([point("chrono:a", hours, speed, shots)]) is None


@given(HOURS, st.lists(SPEEDS, min_size=2, max_size=5))
def test_strings_of_one_hour_have_no_slope(hours, speeds):
    assert lines([point("chrono:a", hours, speed) for speed in speeds]) is None


@given(HOURS, HOURS)
def test_one_string_on_each_of_two_chronographs_has_no_slope(first, second):
    assert lines([point("chrono:a", first), point("chrono:b", second)]) is None


def test_two_strings_an_hour_apart_have_one():
    found = lines([point("chrono:a", 1.1, 270.0), point("chrono:a", 2.1, 272.0)])
    assert found is not None
    assert abs(found.slope - 2.0) < 1e-9
    assert found.degrees == 0
