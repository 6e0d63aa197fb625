"""The published plan on the wall, in a real browser: each field's next games by group, as the plan has them and without a name of who came alone."""

from datetime import datetime

import pytest

from tests.browser.server import Server
from tests.browser.test_board_page import SIZES, Wall
from tests.integration.board_day import BoardDay

pytestmark = pytest.mark.timeout(180)


@pytest.fixture(scope="module")
def server(databases, nats_urls):
    server = Server(databases.create().url, nats_urls, "planmoor")
    yield server
    server.down()


@pytest.fixture(scope="module")
def plan(server):
    """Kestrel, merlin and one who came alone are ready; the plan is published as it was proposed."""
    day = BoardDay(server.up())
    day.open("birch", "fern")
    for index, (group, size) in enumerate((("kestrel", 4), ("merlin", 3))):
        day.send("registration/register-group", {"group": group, "size": size})
        for number in range(size):
            day.clear(day.arrive(f"{group}-{number}", 10 * (index + 1) + number, group=group))
    day.clear(day.arrive("alone", 77))
    made = day.live.get(f"/parks/{day.live.park}/games/rotation").json()
    body = {"plan": "plan-1", "position": made["position"], "after": made["after"], "proposed": made["games"]}
    day.send("games/publish-rotation", body)
    return day, made["games"]


def test_each_field_shows_its_next_games_about_when_and_for_whom(page, plan):
    day, games = plan
    wall = Wall(page, day)
    first = games[0]
    told = wall.until(f"field-card[data-field={first['field']}] .then", lambda text: "kestrel" in text)
    at = datetime.fromisoformat(first["start"])
    assert f"about {at:%H:%M} kestrel, merlin, 1 on his own" in told
    assert "alone" not in told
    assert wall.complaints == []


@pytest.mark.parametrize("size", SIZES)
def test_the_next_games_stay_within_their_sign_at_any_size(page, plan, size):
    day, games = plan
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})
    wall = Wall(page, day)
    wall.until(f"field-card[data-field={games[0]['field']}] .then", lambda text: "kestrel" in text)
    outside = page.evaluate(
        """() => [...document.querySelectorAll("field-card .then")].filter((list) => {
            const sign = list.closest("field-card").getBoundingClientRect(), own = list.getBoundingClientRect();
            return own.bottom > sign.bottom + 1 || own.right > sign.right + 1;
        }).length"""
    )
    assert outside == 0
