"""The gear counter: one holder at a time, and nothing given out that is not fit for use. Common practice, no source."""

from contextlib import suppress
from datetime import timedelta

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contracts.equipment import (
    GearIssued,
    GearReturned,
    HandOverMarker,
    InspectGear,
    IssueGear,
    IssueRefused,
    MarkerSwapped,
    QuarantineGear,
    RegisterBottle,
    RegisterMarker,
    RegisterMask,
    ReleaseGear,
    RequalifyBottle,
    ReturnGear,
    SwapMarker,
)
from contracts.incidents import IncidentRecorded
from contracts.problems import AlreadyRecorded, NotAllowed, NotInThatState, Refused, RuleForbids, UnknownSubject
from services.equipment.kit import KIT
from services.equipment.states import BOTTLE, MARKER, MASK
from tests.unit.gear import TODAY, codes, counter, equip, holder, inspect, own, player
from tests.unit.scenario import NINE, Scenario


@pytest.fixture
def shop() -> Scenario:
    return counter()


def why(event: IssueRefused) -> list[str]:
    assert isinstance(event, IssueRefused)
    return [one.code for one in event.reasons]


def minutes(number: float) -> dict[str, object]:
    return {"occurred_at": NINE + timedelta(minutes=number)}


def test_a_marker_has_one_holder_and_a_second_issue_is_refused_on_the_record(shop):
    assert isinstance(equip(shop, "p1", marker="m1"), GearIssued)
    refused = equip(shop, "p2", marker="m1", mask="k1")
    assert why(refused) == ["marker_held_by_other"]
    assert refused.reasons[0].sentence.endswith("record its return or its hand-over first.")
    assert (refused.basis.now, refused.basis.rules) == (shop.now, "default")
    assert holder(shop) == "p1"
    assert codes(shop, "p2") == ["mask_missing", "marker_missing"]


def test_issuing_the_same_marker_to_its_holder_again_changes_nothing(shop):
    equip(shop, marker="m1")
    assert isinstance(equip(shop, marker="m1"), GearIssued)
    assert holder(shop) == "p1"
    shop.at(20).when(ReturnGear(player="p1", marker="m1"))
    assert holder(shop) is None


def test_gear_out_of_use_is_not_issued_and_every_reason_is_named_at_once(shop):
    shop.when(QuarantineGear(marker="m1", fault="leak"))
    inspect(shop, mask="k1", faults=("strap",))
    shop.when(RequalifyBottle(bottle="b1", test_due=TODAY - timedelta(days=1)))
    refused = equip(shop, marker="m1", mask="k1", bottle="b1")
    assert why(refused) == ["marker_quarantined", "mask_failed", "bottle_out_of_test"]
    shop.when(RequalifyBottle(bottle="b1", test_due=TODAY))
    assert isinstance(equip(shop, bottle="b1"), GearIssued)


def test_a_bottle_goes_out_only_with_a_marker_that_takes_its_gas(shop):
    shop.when(RegisterBottle(bottle="b2", gas="co2", test_due=TODAY))
    assert why(equip(shop, marker="m1", bottle="b2")) == ["bottle_gas_differs"]
    equip(shop, marker="m1")
    assert why(equip(shop, bottle="b2")) == ["bottle_gas_differs"]
    assert isinstance(equip(shop, "p2", bottle="b2"), GearIssued)
    assert why(equip(shop, "p2", marker="m2")) == ["bottle_gas_differs"]


def test_an_own_marker_is_held_by_its_owner_from_its_registration(shop):
    own(shop, "marker")
    assert holder(shop, "m9") == "p1"
    assert why(equip(shop, "p2", marker="m9")) == ["marker_held_by_other"]


def test_an_own_marker_left_at_the_counter_is_given_back_to_its_owner_only(shop):
    own(shop, "marker")
    shop.at(20).when(ReturnGear(player="p1", marker="m9"))
    assert holder(shop, "m9") is None
    refused = equip(shop, "p2", marker="m9")
    assert refused.reasons[0].sentence.endswith("given back to nobody else.")
    equip(shop, "p1", marker="m9")
    assert holder(shop, "m9") == "p1"


def test_a_hand_over_moves_the_marker_and_is_refused_when_the_giver_does_not_hold_it(shop):
    equip(shop, "p1", marker="m1")
    with pytest.raises(NotInThatState, match="Player p2 does not hold marker m1: the record has it with player p1"):
        shop.when(HandOverMarker(marker="m1", giver="p2", taker="p3"))
    shop.when(HandOverMarker(marker="m1", giver="p1", taker="p2"))
    assert holder(shop) == "p2"
    with pytest.raises(NotInThatState, match="m2: the record has it at the counter"):
        shop.when(HandOverMarker(marker="m2", giver="p1", taker="p2"))


def test_an_own_marker_may_be_lent_and_handed_back(shop):
    own(shop, "marker")
    shop.when(HandOverMarker(marker="m9", giver="p1", taker="p2"))
    assert holder(shop, "m9") == "p2"
    shop.when(HandOverMarker(marker="m9", giver="p2", taker="p1"))
    assert holder(shop, "m9") == "p1"


def test_a_marker_in_quarantine_is_not_handed_over(shop):
    equip(shop, marker="m1")
    shop.when(QuarantineGear(marker="m1", fault="over_limit"))
    with pytest.raises(NotInThatState, match="Found: over limit"):
        shop.when(HandOverMarker(marker="m1", giver="p1", taker="p2"))


def test_a_swap_takes_one_marker_back_and_gives_the_other_out_in_one_go(shop):
    equip(shop, marker="m1")
    (event,) = shop.when(SwapMarker(player="p1", returned="m1", marker="m2"))
    assert isinstance(event, MarkerSwapped)
    assert (holder(shop, "m1"), holder(shop, "m2")) == (None, "p1")
    equip(shop, "p2", marker="m1")
    assert holder(shop, "m1") == "p2"


def test_a_swap_that_cannot_be_done_whole_is_not_done_at_all(shop):
    equip(shop, "p1", marker="m1")
    with pytest.raises(NotInThatState, match="Player p2 does not hold marker m1"):
        shop.when(SwapMarker(player="p2", returned="m1", marker="m2"))
    equip(shop, "p2", marker="m2")
    with pytest.raises(NotInThatState, match="Marker m2 cannot be given out"):
        shop.when(SwapMarker(player="p1", returned="m1", marker="m2"))
    shop.at(20).when(ReturnGear(player="p2", marker="m2"))
    shop.when(QuarantineGear(marker="m2", fault="jam"))
    with pytest.raises(NotInThatState, match="Found: jam"):
        shop.when(SwapMarker(player="p1", returned="m1", marker="m2"))
    assert (holder(shop, "m1"), holder(shop, "m2")) == ("p1", None)


def test_a_return_reported_after_the_marker_was_issued_again_does_not_take_it_from_its_new_holder(shop):
    equip(shop, "p1", marker="m1")
    shop.at(20).when(ReturnGear(player="p1", marker="m1"))
    equip(shop.at(30), "p2", marker="m1")
    shop.at(40).when(ReturnGear(player="p1", marker="m1", **minutes(18)))
    shop.when(ReturnGear(player="p1", marker="m1", **minutes(35)))
    assert holder(shop) == "p2"


def test_a_return_reported_after_the_same_player_was_issued_the_marker_again_leaves_it_with_him(shop):
    equip(shop, "p1", marker="m1")
    shop.at(20).when(ReturnGear(player="p1", marker="m1"))
    equip(shop.at(30), "p1", marker="m1")
    shop.at(40).when(ReturnGear(player="p1", marker="m1", **minutes(20)))
    assert holder(shop) == "p1"
    shop.when(ReturnGear(player="p1", marker="m1", **minutes(31)))
    assert holder(shop) is None


def test_a_return_reported_late_for_a_time_before_a_hand_over_leaves_the_marker_with_the_taker(shop):
    equip(shop, "p1", marker="m1")
    shop.at(30).when(HandOverMarker(marker="m1", giver="p1", taker="p2"))
    shop.at(40).when(ReturnGear(player="p1", marker="m1", **minutes(20)))
    assert holder(shop) == "p2"


def test_a_return_of_last_night_told_this_morning_frees_the_marker(shop):
    equip(shop, "p1", marker="m1")
    equip(shop, "p1", marker="m2")
    shop.at(24 * 60).when(ReturnGear(player="p1", marker="m1", **minutes(500)))
    assert isinstance(equip(shop, "p2", marker="m1"), GearIssued)
    assert why(equip(shop, "p2", marker="m2")) == ["marker_held_by_other"]


def test_nothing_is_given_out_for_a_time_before_it_is_known_to_have_moved(shop):
    equip(shop, "p1", marker="m1")
    shop.at(30).when(ReturnGear(player="p1", marker="m1"))
    with pytest.raises(NotInThatState, match="09:30:00"):
        shop.when(IssueGear(player="p2", marker="m1", **minutes(20)))
    equip(shop, "p1", marker="m1")
    with pytest.raises(NotInThatState, match="09:30:00"):
        shop.when(HandOverMarker(marker="m1", giver="p1", taker="p2", **minutes(20)))
    with pytest.raises(NotInThatState, match="09:30:00"):
        shop.when(SwapMarker(player="p1", returned="m1", marker="m2", **minutes(20)))


def test_gear_is_entered_once_and_a_players_own_anew_on_a_later_day(shop):
    own(shop, "marker", "mask", "bottle")
    for command in (
        RegisterMarker(marker="m1", model="Heron"),
        RegisterMarker(marker="m1", owner="p2", model="Heron"),
        RegisterMarker(marker="m9", owner="p2", model="Wren"),
        RegisterMask(mask="k9", owner="p2", model="Lens"),
        RegisterBottle(bottle="b9", owner="p2", test_due=TODAY),
    ):
        with pytest.raises(AlreadyRecorded, match="Choose another name"):
            shop.when(command)
    shop.at(24 * 60).given(player("p4"))
    shop.when(RegisterMarker(marker="m9", owner="p4", model="Wren"))
    assert shop.state(MARKER, "m9").holder == "p4"
    with pytest.raises(AlreadyRecorded):
        shop.when(RegisterMarker(marker="m1", owner="p4", model="Heron"))


def test_only_what_is_in_quarantine_is_released(shop):
    with pytest.raises(NotInThatState, match="Marker m1 is not in quarantine"):
        shop.when(ReleaseGear(marker="m1"))


def test_what_was_impounded_after_an_incident_is_released_by_a_manager_only(shop):
    incident = IncidentRecorded(
        incident="i1", kind="injury", field=None, game=None, players=(), markers=("m1",), masks=(), emergency_services=True
    )  # fmt: skip
    shop.given(incident)
    with pytest.raises(NotAllowed, match="impounded as evidence"):
        shop.at(20).when(ReleaseGear(marker="m1"), "gear")
    shop.when(ReleaseGear(marker="m1"), "manager")
    assert shop.state(MARKER, "m1").faults == ()
    shop.when(QuarantineGear(marker="m1", fault="jam"))
    shop.at(30).when(ReleaseGear(marker="m1"), "gear")
    assert shop.state(MARKER, "m1").faults == ()


@pytest.mark.parametrize(
    ("command", "subject"),
    [
        (IssueGear(player="p7", mask="k1"), "player p7"),
        (IssueGear(player="p1", mask="k7"), "mask k7"),
        (InspectGear(player="p7", mask="k1"), "player p7"),
        (InspectGear(player="p1", bottle="b7"), "bottle b7"),
        (ReturnGear(player="p7", mask="k1"), "player p7"),
        (ReturnGear(player="p1", marker="m7"), "marker m7"),
        (QuarantineGear(marker="m7", fault="jam"), "marker m7"),
        (ReleaseGear(bottle="b7"), "bottle b7"),
        (RequalifyBottle(bottle="b7", test_due=TODAY), "bottle b7"),
        (RegisterMarker(marker="m7", owner="p7", model="Wren"), "player p7"),
        (HandOverMarker(marker="m7", giver="p1", taker="p2"), "marker m7"),
        (HandOverMarker(marker="m1", giver="p1", taker="p7"), "player p7"),
        (HandOverMarker(marker="m1", giver="p7", taker="p1"), "player p7"),
        (SwapMarker(player="p1", returned="m7", marker="m1"), "marker m7"),
        (SwapMarker(player="p1", returned="m1", marker="m7"), "marker m7"),
        (SwapMarker(player="p7", returned="m1", marker="m2"), "player p7"),
    ],
)
def test_what_the_record_does_not_know_is_named(shop, command, subject):
    with pytest.raises(UnknownSubject, match=f"no {subject}"):
        shop.when(command)


@pytest.mark.parametrize(
    ("command", "why"),
    [
        (IssueGear(player="p1"), "names no gear"),
        (InspectGear(player="p1"), "names no gear"),
        (ReturnGear(player="p1"), "names no gear"),
        (QuarantineGear(fault="jam"), "names no gear"),
        (ReleaseGear(), "names no gear"),
        (InspectGear(player="p1", mask="k1", barrel_cover=True), "Name the marker"),
        (InspectGear(player="p1", marker="m1", barrel_cover=True, faults=("cover_missing",)), "both seen and missing"),
        (HandOverMarker(marker="m1", giver="p1", taker="p1"), "the same player"),
        (SwapMarker(player="p1", returned="m1", marker="m1"), "for itself"),
    ],
)
def test_a_body_that_contradicts_itself_is_refused(shop, command, why):
    with pytest.raises(RuleForbids, match=why):
        shop.when(command)


def test_a_return_of_what_he_never_held_is_recorded_and_changes_nothing(shop):
    equip(shop, "p1", marker="m1")
    (event,) = shop.when(ReturnGear(player="p2", marker="m1"))
    assert event == GearReturned(player="p2", marker="m1", mask=None, bottle=None)
    assert holder(shop) == "p1"


PLAYERS, MARKERS = st.sampled_from(["p1", "p2", "p3"]), st.sampled_from(["m1", "m2"])
LATE = st.just(0) | st.integers(0, 2000)
STEPS = st.lists(
    st.tuples(
        st.one_of(
            st.builds(IssueGear, player=PLAYERS, marker=MARKERS),
            st.builds(ReturnGear, player=PLAYERS, marker=MARKERS),
            st.builds(HandOverMarker, giver=PLAYERS, taker=PLAYERS, marker=MARKERS),
            st.builds(SwapMarker, player=PLAYERS, returned=MARKERS, marker=MARKERS),
        ),
        st.integers(0, 400),
        LATE,
    ),
    max_size=25,
)


@settings(max_examples=150, deadline=None)
@given(STEPS)
def test_whatever_is_granted_and_however_late_returns_are_told_each_marker_is_in_one_pair_of_hands(steps):
    shop, clock = counter(), 10
    for command, later, ago in steps:
        clock += later
        happened = max(clock - ago, 0)
        with suppress(Refused):
            shop.at(clock).when(msgspec.structs.replace(command, **minutes(happened)))
        for marker in ("m1", "m2"):
            holder(shop, marker)


def test_what_is_remembered_survives_being_written_down(shop):
    own(shop, "marker", "mask", "bottle")
    inspect(shop, marker="m9", mask="k9", bottle="b9", faults=("other",))
    shop.when(QuarantineGear(marker="m9", fault="other"))
    for fold, subject in ((KIT, "p1"), (MARKER, "m9"), (MASK, "k9"), (BOTTLE, "b9")):
        state = shop.state(fold, subject)
        assert state != fold.start(subject)
        assert msgspec.json.decode(msgspec.json.encode(state), type=type(state)) == state
