"""The bench over HTTP against ill will: nothing that is sent to it or asked of it is answered by a fault of the server."""

import pytest

from tests.integration.board_day import BoardDay
from tests.integration.test_bench import Bench

pytestmark = pytest.mark.timeout(180)


@pytest.fixture(scope="module")
def day(live):
    day = BoardDay(live)
    day.open("birch")
    return day


@pytest.fixture
def bench(day):
    return Bench(day)


@pytest.mark.parametrize(
    "text",
    [
        "0001-01-01T00:00:00+14:00 281 fps",
        "9999-12-31T23:59:59-14:00 281 fps",
        "NaN fps\nInfinity fps\n1e400 fps\n-281 fps\n281,4 fps",
        "281\0 fps\n\x1b[2J\n\ufeff281 fps\n2\x0c81 fps",
        "281 fps\r\n28",
    ],
)
def test_odd_lines_are_answered_one_by_one(bench, text):
    bench.open(bench.marker())
    answers = bench.text(text)
    taken = [one for one in answers if one["outcome"] == "recorded"]
    assert [one["speed_fps"] for one in taken] == ([281.0] if "281 fps" in text.split("\n")[0] else [])
    assert all(one["why"] for one in answers if one["outcome"] == "refused")


@pytest.mark.parametrize(
    ("text", "status"),
    [(b"\n" * 500_000, 413), (b"281 fps " * 2_000_000, 413), (b"\xff\xfe2\x008\x001\x00", 400)],
)
def test_a_body_that_is_too_large_or_no_text_is_refused_whole(bench, text, status):
    assert bench.text(text, expect=status)["status"] == status


@pytest.mark.parametrize(
    "body",
    [
        '{"speed_fps": NaN}',
        '{"speed_fps": 1e400}',
        '{"speed_fps": -1}',
        '{"speed_fps": "281"}',
        '{"speed_fps": 281, "occurred_at": "0001-01-01T00:00:00+14:00"}',
        '{"speed_fps": 281, "occurred_at": "9999-12-31T23:59:59-14:00"}',
    ],
)
def test_an_odd_reading_is_recorded_or_refused_and_breaks_nothing(bench, body):
    live = bench.live
    content = f'{{"chrono": "{bench.chrono}", {body[1:]}'.encode()
    answer = live.send("velocity/take-reading", content, live.headers())
    assert answer.status_code in ({201} if "occurred_at" in body else {400, 422}), answer.text


@pytest.mark.parametrize(
    "asked",
    [{"after": "1:999999999999999999"}, {"after": "-1:0"}, {"after": "1:1e9"}, {"field": "x" * 5000}, {"field": ""}],
)
def test_an_odd_question_is_refused(bench, asked):
    live = bench.live
    path = f"/parks/{live.park}/velocity/bench/{bench.chrono}"
    answer = live.http.get(path, params=asked, headers=live.headers())
    assert 400 <= answer.status_code < 500, answer.text
