"""The waits on the wall, in a real browser: how long one stands at a station, and which groups play next, and when."""

import itertools

import pytest

from tests.browser.server import Server
from tests.browser.test_board_page import Wall
from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(180)
parks = itertools.count(1)


@pytest.fixture(scope="module")
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, f"waitmoor-{next(parks)}")
    yield server
    server.down()


@pytest.fixture(scope="module")
def day(server):
    """Nine are registered and have not paid; kestrel's two are called to birch."""
    day = BoardDay(server.up())
    day.open("birch")
    day.send("registration/register-group", {"group": "kestrel", "size": 2})
    for number in (1, 2):
        day.clear(day.arrive(f"p{number}", number, group="kestrel"))
    for number in range(51, 60):
        day.arrive(f"late-{number}", number)
    day.call("g1", "birch", ["p1", "p2"])
    return day


@pytest.fixture
def wall(page, day):
    wall = Wall(page, day)
    yield wall
    assert wall.complaints == []


def test_a_station_with_a_line_tells_how_long_who_joins_it_waits(wall):
    told = wall.until("station-tile[data-station=desk] small", lambda text: "min to wait." in text)
    assert "waiver signed" in told or "registered" in told
    assert "to wait" not in wall.text("station-tile[data-station='first aid']")


def test_the_next_groups_are_told_when_they_play_and_where(wall):
    told = wall.until("#players", lambda text: "kestrel" in text)
    assert "kestrel Birch in " in told
    assert wall.page.get_by_role("list", name="When do we play?").count() == 1
