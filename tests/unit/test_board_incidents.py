"""What the board says of incidents: that a report may be overdue, and never of whom."""

import pytest

from contracts.incidents import HelpCalled, IncidentRecorded, NotificationRecorded, OutcomeRecorded
from tests.unit.board_view import open_park, shown
from tests.unit.desk_day import clock

HURT = IncidentRecorded(
    incident="i1", kind="injury", field="birch", game=None, players=("p1",), markers=(), masks=(),
    emergency_services=True,
)  # fmt: skip


@pytest.fixture
def park():
    """Ten past nine: p1 was taken to hospital."""
    return open_park().given(
        HURT, OutcomeRecorded(incident="i1", player="p1", worker=None, outcome="taken_to_hospital")
    )


def overdue(park):
    return [one for one in shown(park).alerts if one.kind == "report_overdue"]


def test_an_overdue_report_raises_one_alert_for_the_manager_that_names_nobody(park):
    """Without delay: RIDDOR 2013, schedule 1 part 1."""
    assert overdue(park) == []
    (alert,) = overdue(park.at(11))
    assert alert.since == clock(10)
    assert alert.sentence == (
        "Manager: a report that local rules may ask for is overdue, or nobody recorded it. See the open incidents. "
        "If anybody is hurt, call the emergency services first: the record comes after."
    )


def test_once_it_is_recorded_as_made_the_alert_is_gone_until_the_next_is_due(park):
    """The report itself: within 10 days of the incident, the same schedule."""
    park.at(11).given(NotificationRecorded(incident="i1", reminder="gb-notice"))
    assert overdue(park) == []
    assert overdue(park.at(10 + 240 * 60)) == []
    (alert,) = overdue(park.at(10 + 240 * 60 + 1))
    assert alert.since == clock(10 + 240 * 60)


def test_the_first_aid_station_shows_that_help_was_called(park):
    park.given(HelpCalled(incident="i1", service="ambulance"))
    assert shown(park).stations["first aid"].last.what == "ambulance called"
