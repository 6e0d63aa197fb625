"""What a person may do at a device: what both are for, on the day that it happened."""

from datetime import UTC, date, datetime, timedelta

import pytest

from contracts.catalogue import COMMANDS
from contracts.duty import Qualification, StaffRegistered
from contracts.problems import NotAllowed
from services.core.rights import ACTOR, POSTS, Actor, meet
from tests.unit.scenario import NINE, Scenario

TODAY = date(2026, 5, 9)
SOME = ((datetime(2026, 5, 1, tzinfo=UTC), 1),)
INSPECT, ISSUE, HOLD, BRIEF = (
    COMMANDS[path] for path in ("games/inspect-field", "equipment/issue-gear", "games/ask-hold", "duty/register-staff")
)
EVERYTHING = frozenset(role for command in COMMANDS.values() for role in command.ROLES)


def staff(*posts, until=TODAY):
    qualifications = tuple(Qualification(post=post, until=until) for post in posts)
    return Actor("staff-wren", qualifications, SOME[0])


def may(device, actor, command, day=TODAY):
    try:
        return meet(frozenset(device), actor, day, command)
    except NotAllowed:
        return None


@pytest.mark.parametrize(
    ("device", "posts", "command", "roles"),
    [
        ({"referee"}, ["referee"], INSPECT, {"referee"}),
        ({"referee", "gear"}, ["referee", "desk"], INSPECT, {"referee"}),
        ({"referee"}, ["head_referee"], INSPECT, {"referee"}),  # a head referee may referee
        ({"head_referee"}, ["referee"], INSPECT, None),  # but not the other way round
        ({"referee"}, ["gear"], INSPECT, None),
        ({"gear"}, ["referee"], INSPECT, None),
        ({"referee"}, [], INSPECT, None),
        ({"gear"}, ["gear"], ISSUE, {"gear"}),
        ({"manager"}, ["referee"], BRIEF, None),
        ({"auditor"}, ["manager"], BRIEF, None),
        ({"gear"}, ["referee"], HOLD, {"gear"}),  # any staff may stop play
        ({"desk"}, [], HOLD, {"desk"}),  # whatever his papers say
    ],
)
def test_the_meet_of_device_and_person(device, posts, command, roles):
    assert may(device, staff(*posts), command) == roles


@pytest.mark.parametrize("command", COMMANDS.values(), ids=lambda command: command.__name__)
def test_of_every_command_a_person_qualified_for_one_post_may_send_what_takes_it(command):
    """On a device that is for everything, the table of the contracts holds for the person alone."""
    for post in sorted(POSTS):
        held = {post, "referee"} if post == "head_referee" else {post}
        allowed = bool(held & command.ROLES)
        assert (may(EVERYTHING, staff(post), command) is not None) is allowed, post


def test_a_qualification_holds_to_the_end_of_its_last_day():
    yesterday = staff("referee", until=TODAY - timedelta(days=1))
    assert may({"referee"}, staff("referee"), INSPECT)
    assert may({"referee"}, yesterday, INSPECT) is None
    assert may({"referee"}, yesterday, INSPECT, TODAY - timedelta(days=1))


def test_of_whom_the_record_does_not_know_the_device_speaks_alone():
    assert may({"referee"}, Actor("staff-new"), INSPECT) == {"referee"}


def test_the_refusal_names_the_device_and_the_person():
    with pytest.raises(NotAllowed) as refused:
        meet(frozenset({"referee"}), staff("gear"), TODAY, INSPECT)
    assert "for referee" in refused.value.detail
    assert "staff-wren was qualified for gear on 2026-05-09" in refused.value.detail


def test_stop_and_first_aid_are_refused_to_no_staff():
    for path in ("games/ask-hold", "games/call-first-aid", "incidents/record-incident", "games/find-player"):
        assert may({"desk"}, staff(), COMMANDS[path]) is not None, path


def test_a_registration_told_late_replaces_none_that_came_after_it():
    park = Scenario()
    new = StaffRegistered(staff="staff-wren", qualifications=(Qualification(post="gear", until=TODAY),))
    old = StaffRegistered(staff="staff-wren", qualifications=(Qualification(post="referee", until=TODAY),))
    park.given(new).given(old, occurred_at=NINE - timedelta(hours=1))
    assert park.state(ACTOR, "staff-wren").roles(TODAY) == {"gear"}
