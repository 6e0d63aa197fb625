"""Whether what a player carries lets him onto a field. Common practice, no source, unless a test names one."""

from datetime import timedelta

import pytest

from contracts.equipment import (
    HandOverMarker,
    QuarantineGear,
    RegisterMarker,
    ReleaseGear,
    RequalifyBottle,
    ReturnGear,
)
from contracts.incidents import CustodyTaken, IncidentRecorded
from contracts.velocity import SetUpChanged
from services.equipment.states import BOTTLE, MARKER, MASK
from tests.unit.gear import TODAY, codes, counter, equip, found, inspect, own, player
from tests.unit.scenario import NINE, Scenario


@pytest.fixture
def shop() -> Scenario:
    return counter()


def test_a_hired_mask_and_a_hired_marker_are_all_a_player_needs(shop):
    assert codes(shop) == ["mask_missing", "marker_missing"]
    equip(shop, mask="k1")
    assert codes(shop) == ["marker_missing"]
    equip(shop, marker="m1")
    assert codes(shop) == []


@pytest.mark.parametrize("part", ["referee", "photographer", "chaperone"])
def test_whoever_goes_on_without_playing_needs_a_mask_and_no_marker(shop, part):
    assert codes(shop, part=part) == ["mask_missing"]
    equip(shop, mask="k1")
    assert codes(shop, part=part) == []


def test_what_a_photographer_carries_is_judged_all_the_same(shop):
    equip(shop, mask="k1", marker="m1")
    shop.when(QuarantineGear(marker="m1", fault="leak"))
    assert codes(shop, part="photographer") == ["marker_quarantined"]


def test_a_players_own_mask_is_inspected_before_he_plays(shop):
    equip(shop, marker="m1")
    own(shop, "mask")
    (one,) = found(shop)
    assert (one.code, one.subject, one.where) == ("mask_not_inspected", "mask:k9", "gear counter")
    inspect(shop, mask="k9")
    assert codes(shop) == []


def test_an_own_mask_that_failed_is_left_at_the_counter_before_he_plays_in_a_hired_one(shop):
    equip(shop, marker="m1")
    own(shop, "mask")
    inspect(shop, mask="k9", faults=("lens_seal",))
    assert codes(shop) == ["mask_failed"]
    equip(shop, mask="k1")
    assert codes(shop) == ["mask_failed"]
    shop.at(20).when(ReturnGear(player="p1", mask="k9"))
    assert codes(shop) == []


def test_an_inspection_lasts_for_its_day_and_own_gear_is_entered_anew_on_the_next(shop):
    own(shop, "mask", "marker", "bottle", due=TODAY + timedelta(days=9))
    inspect(shop, mask="k9", marker="m9", bottle="b9", barrel_cover=True)
    assert codes(shop) == []
    shop.at(24 * 60).given(player("p4"))
    shop.when(RegisterMarker(marker="m9", owner="p4", model="Wren"))
    assert codes(shop, "p4") == ["mask_missing", "marker_not_inspected"]
    assert codes(shop) == [
        "mask_not_inspected", "marker_held_by_other", "marker_not_inspected", "bottle_not_inspected",
    ]  # fmt: skip


def test_an_own_marker_is_inspected_with_its_barrel_cover(shop):
    equip(shop, mask="k1")
    own(shop, "marker")
    assert codes(shop) == ["marker_not_inspected"]
    inspect(shop, marker="m9")
    assert codes(shop) == ["barrel_cover_missing"]
    inspect(shop.at(12), marker="m9", barrel_cover=True)
    assert codes(shop) == []


def test_an_own_marker_with_any_fault_fails_and_passes_once_it_was_put_right(shop):
    equip(shop, mask="k1")
    own(shop, "marker")
    inspect(shop, marker="m9", barrel_cover=True, faults=("trigger",))
    assert codes(shop) == ["marker_failed"]
    inspect(shop.at(12), marker="m9", barrel_cover=True)
    assert codes(shop) == []


def test_an_inspection_reported_late_does_not_undo_a_later_one(shop):
    own(shop, "mask")
    equip(shop, marker="m1")
    inspect(shop.at(30), mask="k9", faults=("lens_scratched",))
    inspect(shop.at(40), mask="k9", occurred_at=NINE + timedelta(minutes=20))
    assert codes(shop) == ["mask_failed"]
    inspect(shop, mask="k9", occurred_at=NINE + timedelta(minutes=31))
    assert codes(shop) == []


def test_a_hired_marker_found_faulty_at_the_gate_is_not_cleared_until_inspected_again(shop):
    equip(shop, marker="m1", mask="k1")
    inspect(shop, marker="m1", faults=("visible_damage",))
    assert codes(shop) == ["marker_failed"]
    inspect(shop.at(12), marker="m1")
    assert codes(shop) == []


def test_an_own_bottle_is_inspected_and_one_that_failed_stays_off(shop):
    equip(shop, marker="m1", mask="k1")
    own(shop, "bottle")
    assert codes(shop) == ["bottle_not_inspected"]
    inspect(shop, bottle="b9", faults=("valve",))
    assert codes(shop) == ["bottle_failed"]
    inspect(shop.at(12), bottle="b9")
    assert codes(shop) == []


def test_a_bottle_serves_on_the_last_day_of_its_test_and_not_on_the_day_after(shop):
    equip(shop, marker="m1", mask="k1")
    own(shop, "bottle", due=TODAY)
    inspect(shop, bottle="b9")
    assert codes(shop) == []
    shop.when(RequalifyBottle(bottle="b9", test_due=TODAY - timedelta(days=1)))
    assert codes(shop) == ["bottle_out_of_test"]


def test_a_hired_bottle_runs_out_of_test_in_a_players_hands(shop):
    equip(shop, marker="m1", mask="k1", bottle="b1")
    assert codes(shop.at(100 * 24 * 60)) == []
    assert codes(shop.at(101 * 24 * 60)) == ["bottle_out_of_test"]


def test_the_test_date_read_last_counts_however_late_an_earlier_reading_is_told(shop):
    equip(shop, marker="m1", mask="k1", bottle="b1")
    shop.at(60).when(RequalifyBottle(bottle="b1", test_due=TODAY + timedelta(days=1)))
    early = NINE + timedelta(minutes=30)
    shop.when(RequalifyBottle(bottle="b1", test_due=TODAY - timedelta(days=1), occurred_at=early))
    assert codes(shop) == []


def test_a_bottle_of_another_gas_than_the_marker_is_named(shop):
    equip(shop, marker="m1", mask="k1")
    own(shop, "bottle", gas="co2")
    inspect(shop, bottle="b9")
    (one,) = found(shop)
    assert (one.code, one.subject) == ("bottle_gas_differs", "bottle:b9")
    assert one.sentence.endswith("It holds co2; the marker takes air.")


def test_a_marker_whose_gas_was_changed_is_not_judged_by_the_gas_it_was_entered_with(shop):
    equip(shop, marker="m1", mask="k1")
    own(shop, "bottle", gas="co2")
    inspect(shop, bottle="b9")
    shop.at(20).given(SetUpChanged(marker="m1", change="gas", firing_mode=None))
    assert codes(shop) == []


def test_quarantine_takes_gear_out_of_use_until_it_is_released(shop):
    equip(shop, marker="m1", mask="k1", bottle="b1")
    shop.when(QuarantineGear(marker="m1", mask="k1", bottle="b1", fault="visible_damage"))
    assert codes(shop) == ["mask_quarantined", "marker_quarantined", "bottle_quarantined"]
    assert found(shop)[0].sentence == "This mask is out of use. Found: visible damage."
    shop.at(20).when(ReleaseGear(marker="m1", mask="k1", bottle="b1"))
    assert codes(shop) == []


def test_a_release_lifts_only_the_faults_that_it_could_know_of(shop):
    equip(shop, marker="m1", mask="k1")
    shop.at(20).when(QuarantineGear(marker="m1", fault="leak"))
    shop.at(30).when(QuarantineGear(marker="m1", fault="jam"))
    shop.at(40).when(ReleaseGear(marker="m1", occurred_at=NINE + timedelta(minutes=25)))
    assert found(shop)[0].sentence.endswith("Found: jam.")
    shop.when(ReleaseGear(marker="m1"))
    assert codes(shop) == []
    shop.at(50).when(QuarantineGear(marker="m1", fault="trigger", occurred_at=NINE + timedelta(minutes=35)))
    assert codes(shop) == ["marker_quarantined"]


@pytest.mark.parametrize(
    ("fold", "kind", "name"), [(MARKER, "marker", "m1"), (MASK, "mask", "k1"), (BOTTLE, "bottle", "b1")]
)
def test_whatever_is_taken_in_as_evidence_is_impounded(shop, fold, kind, name):
    """Common practice, no source."""
    named = {"marker": None, "mask": None, "bottle": None} | {kind: name}
    shop.given(CustodyTaken(incident="i1", staff="wren", kept="safe", **named))
    assert [fault for _, fault in shop.state(fold, name).faults] == ["impounded"]


def test_an_incident_impounds_the_markers_and_masks_it_names(shop):
    equip(shop, marker="m1", mask="k1")
    incident = IncidentRecorded(
        incident="i1", kind="injury", field=None, game=None, players=("p1",), markers=("m1",), masks=("k1",),
        emergency_services=True,
    )  # fmt: skip
    shop.given(incident)
    assert codes(shop) == ["mask_quarantined", "marker_quarantined"]
    assert found(shop)[0].sentence.endswith("Found: impounded.")


def test_a_field_takes_only_its_own_calibres(shop):
    equip(shop, mask="k1")
    shop.when(RegisterMarker(marker="m5", model="Finch", calibre=".50"))
    equip(shop, marker="m5")
    (one,) = found(shop)
    assert (one.code, one.sentence.partition(". ")[2]) == ("wrong_calibre", "It is .50; this field takes .68.")


def test_a_field_takes_only_its_own_firing_modes_as_the_marker_is_set_now(shop):
    equip(shop, marker="m1", mask="k1")
    shop.at(20).given(SetUpChanged(marker="m1", change="firing_mode", firing_mode="full"))
    (one,) = found(shop)
    assert (one.code, one.where) == ("wrong_firing_mode", "chronograph")
    late = NINE + timedelta(minutes=15)
    shop.at(30).given(SetUpChanged(marker="m1", change="firing_mode", firing_mode="semi"), occurred_at=late)
    assert codes(shop) == ["wrong_firing_mode"]
    shop.given(SetUpChanged(marker="m1", change="firing_mode", firing_mode="semi"))
    assert codes(shop) == []


def test_a_firing_mode_that_was_changed_and_not_recorded_is_allowed_on_no_field(shop):
    equip(shop, marker="m1", mask="k1")
    shop.at(20).given(SetUpChanged(marker="m1", change="firing_mode", firing_mode=None))
    assert codes(shop) == ["wrong_firing_mode"]


def test_a_marker_shown_at_the_gate_that_someone_else_holds_is_named(shop):
    equip(shop, "p1", marker="m1", mask="k1")
    equip(shop, "p2", marker="m2", mask="k2")
    assert codes(shop, shown=("marker:m2",)) == ["marker_held_by_other"]
    shop.when(HandOverMarker(marker="m2", giver="p2", taker="p1"))
    assert codes(shop) == []
    assert codes(shop, "p2") == ["marker_missing"]


@pytest.mark.parametrize(("kind", "name"), [("marker", "m2"), ("mask", "k2"), ("bottle", "b1")])
def test_hired_gear_on_a_player_is_his_once_it_was_issued_to_him_and_not_to_another(shop, kind, name):
    equip(shop, marker="m1", mask="k1")
    tag = f"{kind}:{name}"
    (one,) = found(shop, shown=(tag,))
    assert (one.code, one.subject) == (f"{kind}_held_by_other", tag)
    assert one.sentence.endswith("not recorded with you. Have it issued first.")
    equip(shop, "p2", **{kind: name})
    (one,) = found(shop, shown=(tag,))
    assert one.sentence.endswith("not recorded with you. Someone else holds it.")
    shop.at(20).when(ReturnGear(player="p2", **{kind: name}))
    equip(shop, **{kind: name})
    assert codes(shop) == []
