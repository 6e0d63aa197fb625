"""The plain text in which an instrument sends its readings: a form of our own."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.velocity.lines import lines


def one(text):
    (line,) = lines(text, "bench-1")
    return line


@pytest.mark.parametrize(
    ("text", "speed_fps"),
    [
        ("281.4 fps", 281.4),
        ("  281.4 fps  ", 281.4),
        ("281 ft/s", 281.0),
        ("281.4fps", 281.4),
        ("281.4 FPS # second battery", 281.4),
        ("0 fps", 0.0),
    ],
)
def test_a_reading_in_feet_per_second_is_taken_as_it_stands(text, speed_fps):
    reading = one(text).reading
    assert (reading.chrono, reading.speed_fps, reading.misread, reading.occurred_at) == (
        "bench-1",
        speed_fps,
        None,
        None,
    )
    assert reading.source == "instrument"


def test_a_reading_in_metres_per_second_is_converted_by_the_exact_foot():
    """The international foot is 0.3048 m (agreement of 1959): 91.44 m/s are 300 ft/s."""
    assert one("91.44 m/s").reading.speed_fps == pytest.approx(300, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "kind", "speed_fps"),
    [
        ("-- beam lost", "beam_lost", None),
        ("-- no shot", "no_shot", None),
        ("301 fps -- double trigger", "double_trigger", 301.0),
        ("--impossible", "impossible", None),
        ("-- Beam  Lost # sun in the window", "beam_lost", None),
    ],
)
def test_what_is_no_reading_is_said_in_words_and_keeps_the_speed_that_was_shown(text, kind, speed_fps):
    reading = one(text).reading
    assert (reading.misread, reading.speed_fps) == (kind, speed_fps)


def test_a_line_may_say_when_it_was_shot():
    """RFC 3339, section 5.8: 1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z."""
    reading = one("1996-12-19T16:39:57-08:00 281.4 fps").reading
    assert reading.occurred_at.timestamp() == 851042397
    assert reading.speed_fps == 281.4


@pytest.mark.parametrize("stray", ["\x0b", "\x0c", "\x1c", "\x1d", "\x1e", "\x85", "\u2028", "\u2029", "\0", "\ufeff"])
def test_a_stray_byte_does_not_cut_a_fast_reading_into_a_slow_one(stray):
    """Python's str.splitlines takes the first eight for ends of lines: 310 would become a shot that was none."""
    assert one(f"3{stray}10.0 fps").reading is None


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_line_ends_as_instruments_end_it_and_half_a_line_at_the_end_is_no_reading(end):
    found = list(lines(f"281 fps{end}{end}283 fps{end}28", "bench-1"))
    assert [line.reading and line.reading.speed_fps for line in found] == [281, None, 283, None]
    assert [bool(line.why) for line in found] == [False, False, False, True]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("281.4", "no reading"),
        ("281,4 fps", "no reading"),
        ("-281 fps", "no reading"),
        ("fast", "no reading"),
        ("--", "no reading"),
        ("281.4 km/h", "no reading"),
        ("281 fps 282 fps", "no reading"),
        ("1e3 fps", "no reading"),
        ("9999 fps", "No shot is faster than 2000 fps"),
        ("700 m/s", "No shot is faster than 2000 fps"),
        ("-- sneeze", "beam lost"),
        ("2026-05-09T10:00:03 281 fps", "names no offset"),
        ("2026-13-09T10:00:03Z 281 fps", "The time is none"),
        ("2" * 300 + " fps", "no reading"),
        ("٣٠٠ fps", "no reading"),
    ],
)
def test_a_line_that_does_not_fit_says_why(text, why):
    line = one(text)
    assert line.reading is None
    assert why in line.why


def test_remarks_and_empty_lines_are_neither_recorded_nor_refused_but_keep_their_numbers():
    found = list(lines("# opening check\n\n281.4 fps\n", "bench-1"))
    assert [(line.number, line.reading is None, line.why) for line in found] == [
        (1, True, ""),
        (2, True, ""),
        (3, False, ""),
    ]


@given(st.text(max_size=80))
def test_no_text_whatever_breaks_it(text):
    for line in lines(text, "bench-1"):
        assert line.reading is None or line.why == ""
