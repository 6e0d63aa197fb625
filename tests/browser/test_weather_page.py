"""Thunder on the wall: every field held, since when, the earliest time to resume, and how many are still inside."""

import pytest

from tests.browser.test_board_page import Wall
from tests.integration.board_day import BoardDay
from tests.integration.live import serving

pytestmark = pytest.mark.timeout(120)


@pytest.fixture
def day(databases, nats_urls):
    """Two players in a live game on birch; fern is free."""
    with serving(databases.create(), nats_urls) as live:
        day = BoardDay(live)
        day.open("birch", "fern")
        day.start("g1", "birch", day.players(2))
        yield day


def test_thunder_is_on_the_wall_with_the_earliest_time_to_resume_and_who_is_still_inside(page, day):
    wall = Wall(page, day)
    wall.wait_state("birch", "live")
    day.send("park/record-thunder", {"flash_to_bang_s": 20})
    wall.wait_state("birch", "hold asked")
    wall.wait_state("fern", "hold asked")
    resume = day.board()["weather"]["resume_at"][11:16]
    told = wall.until("#hold", lambda text: "Still inside: 2" in text)
    assert told.startswith("HOLD all fields, since")
    assert f", not before {resume}" in told
    assert f"resumes before {resume}." in wall.text("#alerts [data-kind=lightning]")
    assert "WEATHER — not confirmed, 2 inside" in wall.text("field-card[data-field=birch]")
    day.send("games/record-out", {"player": "p1", "field": "birch", "game": "g1", "cause": "walked_off"})
    wall.until("#hold", lambda text: "Still inside: 1" in text)
    assert wall.complaints == []


def test_heat_is_on_the_wall_with_what_it_demands(page, day):
    wall = Wall(page, day)
    day.send("park/record-weather", {"temperature_c": 32, "humidity_percent": 60})
    told = wall.until("#alerts", lambda text: "Heat" in text)
    assert "Heat: shorter games, longer breaks in the shade, water for everybody." in told
    wall.wait_state("birch", "live")
    assert wall.complaints == []
