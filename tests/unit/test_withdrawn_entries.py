"""An entry of an incident's record that was never so: withdrawn, never deleted, and what followed from it stays until somebody entitled ends it.

That evidence stays put and data stay kept until a manager says otherwise is common practice, no source.
"""

from datetime import timedelta
from uuid import UUID

import pytest

from contracts.catalogue import TYPES
from contracts.equipment import GearReleased
from contracts.incidents import (
    CloseIncident,
    CustodyPassed,
    CustodyTaken,
    DeclareFit,
    EntryWithdrawn,
    HelpArrived,
    HelpCalled,
    IncidentRecorded,
    InjuryRecorded,
    NotificationRecorded,
    OutcomeRecorded,
    SceneRecorded,
    TreatmentGiven,
    WithdrawEntry,
    WitnessNamed,
)
from contracts.problems import NotInThatState, UnknownSubject
from contracts.vault import LiftLegalHold
from services.audit.moments.corrections import as_happened
from services.equipment.states import MARKER
from services.incidents.states import FITNESS
from services.incidents.telling import KINDS
from tests.unit.desk_day import clock, desk, ready
from tests.unit.telling import of as told_of
from tests.unit.telling import story
from tests.unit.test_incident_record import HURT, WHOLE, asked, lacks
from tests.unit.test_incident_record import of as record_of


def hurt(player="elm", **more):
    return InjuryRecorded(**({
        "incident": "i1", "player": player, "worker": None, "part": "eye", "side": "left", "injury": "impact",
    } | more))  # fmt: skip


def incident(**more):
    body = {name: getattr(HURT, name) for name in HURT.__struct_fields__}
    return IncidentRecorded(**(body | more))


@pytest.fixture
def park():
    park = desk()
    ready(park)
    ready(park, "elm")
    return park.at(10)


def withdraw(park, data, slip="mistyped"):
    """Withdraw the last entry that says this."""
    entry = next(event.id for event in reversed(park.events) if event.data == data)
    (event,) = park.when(WithdrawEntry(incident="i1", entry=entry, slip=slip))
    return event


def shown(park):
    (found,) = asked(park).incidents
    return found


def stays(park):
    return [(one.code, one.subject) for withdrawn in shown(park).withdrawn for one in withdrawn.stays]


EVERY = (
    *WHOLE,
    HelpCalled(incident="i1", service="ambulance"),
    CustodyPassed(incident="i1", marker="m1", mask=None, bottle=None, giver="wren", taker=None, outside="police", kept="elsewhere"),
    NotificationRecorded(incident="i1", reminder="gb-report"),
)  # fmt: skip


@pytest.mark.parametrize("wrong", EVERY, ids=lambda value: type(value).__name__)
def test_without_an_entry_the_record_says_what_it_would_say_had_nobody_told_it(park, wrong):
    without = desk()
    ready(without)
    ready(without, "elm")
    without.at(10).given(*(one for one in EVERY if one is not wrong))
    park.given(*EVERY)
    assert _said(park) != _said(without)
    withdraw(park, wrong)
    assert _said(park) == _said(without)


def _said(park):
    """All that the list says of it, but the entries' own ids and what was withdrawn."""
    found = shown(park)
    rest = {name: getattr(found, name) for name in found.__struct_fields__ if name not in {"entries", "withdrawn"}}
    return rest, sorted((one.kind, one.at, one.says) for one in found.entries)


def test_a_withdrawn_entry_stays_in_the_log_and_in_the_list_with_what_it_had_said_and_why(park):
    park.given(HURT, hurt())
    event = withdraw(park.at(14), hurt(), "wrong_person")
    assert (event.kind, event.slip, event.players) == ("injury", "wrong_person", ("elm",))
    assert hurt() in [one.data for one in park.events]
    (found,) = shown(park).withdrawn
    assert (found.kind, found.says, found.slip) == ("injury", "player elm, left eye, impact", "wrong_person")
    assert (found.entry, found.withdrawn_at) == (str(event.entry), clock(14))
    assert shown(park).casualties == ()


def test_the_list_names_each_entry_by_which_it_can_be_withdrawn_and_no_witness(park):
    park.given(*WHOLE)
    by_id = {str(event.id): event.data for event in park.events}
    entries = shown(park).entries
    assert [by_id[one.entry] for one in entries if one.kind != "custody_taken"] == list(WHOLE[:6])
    assert [one.says for one in entries if one.kind == "witness"] == [""]
    assert [one.says for one in entries if one.kind == "custody_taken"] == [
        "marker m1, taken in to wren, safe", "mask k1, taken in to wren, safe",
    ]  # fmt: skip


def test_whoever_was_named_by_mistake_stays_unfit_until_he_is_declared_fit(park):
    park.given(HURT, hurt())
    withdraw(park, hurt())
    assert park.state(FITNESS, "elm").causes == ("injured",)
    assert ("unfit", "player:elm") in stays(park)
    park.at(20).when(DeclareFit(player="elm"))
    assert ("unfit", "player:elm") not in stays(park)


def test_gear_that_was_named_by_mistake_stays_impounded_until_a_manager_releases_it(park):
    wrong, right = incident(markers=("m1", "m2")), incident(markers=("m1",))
    park.given(wrong, right)
    withdraw(park, wrong, "wrong_gear")
    assert [fault for _, fault in park.state(MARKER, "m2").faults] == ["impounded"]
    assert [one for one in stays(park) if one[0] == "impounded"] == [("impounded", "marker:m2")]
    assert "custody marker:m2" not in lacks(park)
    park.at(20).given(GearReleased(marker="m2", mask=None, bottle=None))
    assert not [one for one in stays(park) if one[0] == "impounded"]


def test_gear_that_was_taken_in_by_mistake_is_listed_and_what_was_only_passed_on_is_not(park):
    taken = CustodyTaken(incident="i1", marker=None, mask="k9", bottle=None, staff="wren", kept="safe")
    passed = CustodyPassed(
        incident="i1", marker=None, mask="k8", bottle=None, giver="wren", taker="jay", outside=None, kept="safe"
    )
    park.given(HURT, taken, passed)
    withdraw(park, taken)
    withdraw(park, passed)
    assert stays(park) == [("impounded", "mask:k9")]


def test_what_the_vault_keeps_of_whoever_was_named_by_mistake_is_held_until_a_manager_lifts_it_for_him_alone(park):
    park.given(HURT, hurt("ash"), hurt("elm"))
    withdraw(park, hurt("elm"), "wrong_person")
    assert ("held", "player:elm") in stays(park)
    (lifted,) = park.when(LiftLegalHold(incident="i1", persons=("person-elm",)))
    assert lifted.persons == ("person-elm",)
    assert ("held", "player:elm") not in stays(park)
    with pytest.raises(NotInThatState, match="does not hold the data of person-elm"):
        park.when(LiftLegalHold(incident="i1", persons=("person-elm",)))
    assert park.when(LiftLegalHold(incident="i1"))[0].persons == ("person-ash",)


@pytest.mark.parametrize("again", [hurt("elm", part="ear"), incident(players=("elm",))], ids=["injury", "incident"])
def test_what_is_right_by_an_entry_that_stands_is_not_listed_as_staying_by_mistake(park, again):
    park.given(HURT, hurt("elm"), again)
    withdraw(park, hurt("elm"))
    assert ("held", "player:elm") not in stays(park)


def test_a_witness_who_was_named_by_mistake_is_held_too_and_not_named_in_the_list(park):
    witness = WitnessNamed(incident="i1", person="person-elm", player=None, staff=None)
    park.given(HURT, witness)
    withdraw(park, witness, "wrong_person")
    (kept,) = shown(park).withdrawn[0].stays
    assert (kept.code, kept.subject) == ("held", None)
    assert "elm" not in kept.sentence
    park.when(LiftLegalHold(incident="i1", persons=("person-elm",)))
    assert shown(park).withdrawn[0].stays == ()


def test_a_withdrawal_opens_a_closed_record_again(park):
    park.given(*WHOLE).when(CloseIncident(incident="i1"))
    withdraw(park, WHOLE[1])
    assert lacks(park) == ["injury player:ash"]


def test_an_entry_is_withdrawn_once_and_only_from_its_own_record(park):
    park.given(HURT, hurt(), hurt(incident="i2"))
    event = withdraw(park, hurt())
    with pytest.raises(NotInThatState, match="withdrawn already"):
        park.when(WithdrawEntry(incident="i1", entry=event.entry, slip="mistyped"))
    for entry in (UUID(int=12345), park.events[-2].id, park.events[-1].id):
        with pytest.raises(UnknownSubject, match="list of incidents"):
            park.when(WithdrawEntry(incident="i1", entry=entry, slip="mistyped"))


def test_a_first_aider_the_head_referee_or_a_manager_withdraws():
    assert {"first_aider", "head_referee", "manager"} == WithdrawEntry.ROLES
    assert not WithdrawEntry.FACT


@pytest.mark.parametrize("data", [
    HURT,
    hurt(),
    TreatmentGiven(incident="i1", player=None, worker="jay", treatment="rested", staff="wren"),
    OutcomeRecorded(incident="i1", player=None, worker=None, outcome="rested"),
    SceneRecorded(incident="i1", place=None, sky="dry", paint_batch=None, bottles=("b1",), tests=()),
    WitnessNamed(incident="i1", person="person-elm", player=None, staff=None),
    CustodyTaken(incident="i1", marker="m1", mask="k1", bottle="b1", staff="wren", kept="safe"),
], ids=lambda value: type(value).__name__)  # fmt: skip
def test_a_withdrawal_stands_in_the_story_of_whoever_and_whatever_was_named(park, data):
    """Staff are not named again; in their stories too it stands as withdrawn."""
    park.given(data)
    tags = park.events[-1].tags
    withdraw(park, data)
    position = len(park.events)
    assert {tag for tag in tags if not tag.startswith("staff:")} <= set(park.events[-1].tags)
    for tag in tags:
        told = story(park, tag)
        assert told_of(told, TYPES[type(data)].partition(".")[2])[-1].corrected_by == (position,)
        assert bool(told_of(told, "entry_withdrawn")) != tag.startswith("staff:")


def test_as_it_happened_the_wrong_entry_had_never_been(park):
    park.at(10).given(HURT, hurt())
    withdraw(park.at(40), hurt())
    told = [event for event in park.events if "incident:i1" in event.tags]
    then = as_happened(told, clock(20))
    assert [type(event.data) for event in then] == [IncidentRecorded, InjuryRecorded, EntryWithdrawn]
    assert [type(event.data) for event in as_happened(told, clock(9))] == []


def test_every_kind_of_entry_can_be_withdrawn():
    assert set(KINDS) == {type(one) for one in EVERY} | {HelpArrived}


def test_a_report_that_a_wrong_outcome_asked_for_is_no_longer_due(park):
    died = OutcomeRecorded(incident="i1", player="ash", worker=None, outcome="taken_to_hospital")
    park.given(HURT, died)
    assert [one.code for one in shown(park).reminders] == ["gb-notice", "gb-report"]
    withdraw(park, died)
    assert shown(park).reminders == ()


def test_the_incidents_time_is_that_of_the_account_that_stands(park):
    park.given(HURT, occurred_at=clock(3))
    park.given(incident(kind="near_miss"), occurred_at=clock(8))
    assert record_of(park).happened == clock(8)
    withdraw(park, incident(kind="near_miss"), "told_twice")
    assert (record_of(park).kind, record_of(park).happened) == ("injury", clock(10) - timedelta(minutes=7))
