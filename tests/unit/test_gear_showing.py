"""What the gear counter's page is told: who stands there with what, the piece in hand, spares and what is still out."""

from datetime import timedelta

import pytest

from contracts.equipment import QuarantineGear, RegisterBottle, ReturnGear
from contracts.problems import UnknownSubject
from services.equipment.showing import subjects, view
from services.equipment.stock import STOCK, stock
from tests.unit.gear import TODAY, counter, equip, own
from tests.unit.scenario import NINE


def shown(scenario, player=None, code=None):
    given = scenario.load(lambda given: subjects(player, code, given))
    return view("larchmoor", 1, player, code, given, scenario.moment())


def codes(piece):
    return [one.code for one in piece.reasons]


def test_a_player_stands_there_with_what_he_was_issued():
    scenario = counter()
    equip(scenario, marker="m1", mask="k1")
    found = shown(scenario, "p1")
    assert found.customer.armband == 1
    assert [(one.kind, one.name, codes(one)) for one in found.customer.gear] == [
        ("marker", "m1", []),
        ("mask", "k1", []),
    ]


def test_his_own_gear_says_that_it_was_not_inspected():
    scenario = counter()
    own(scenario, "marker", "mask")
    found = shown(scenario, "p1")
    assert [codes(one) for one in found.customer.gear] == [["marker_not_inspected"], ["mask_not_inspected"]]


def test_a_piece_in_hand_says_why_it_cannot_be_given_to_him():
    scenario = counter()
    equip(scenario, "p2", marker="m1")
    scenario.when(QuarantineGear(marker="m2", fault="leak"))
    (held,) = shown(scenario, "p1", "m1").in_hand
    (broken,) = shown(scenario, "p1", "m2").in_hand
    (spare,) = shown(scenario, "p1", "k2").in_hand
    assert (held.holder, codes(held)) == ("p2", ["marker_held_by_other"])
    assert (broken.faults, codes(broken)) == (("leak",), ["marker_quarantined"])
    assert (spare.holder, codes(spare)) == (None, [])


def test_a_bottle_shows_the_last_day_of_its_test_and_is_refused_the_day_after():
    scenario = counter()
    for name, due in (("b-today", TODAY), ("b-old", TODAY - timedelta(days=1))):
        scenario.when(RegisterBottle(bottle=name, test_due=due))
    (today,) = shown(scenario, "p1", "b-today").in_hand
    (old,) = shown(scenario, "p1", "b-old").in_hand
    assert (today.test_due, codes(today)) == (TODAY, [])
    assert codes(old) == ["bottle_out_of_test"]


def test_a_bottle_of_another_gas_than_his_marker_says_so():
    scenario = counter()
    equip(scenario, marker="m1")
    scenario.when(RegisterBottle(bottle="b-co2", gas="co2", test_due=TODAY))
    (bottle,) = shown(scenario, "p1", "b-co2").in_hand
    assert codes(bottle) == ["bottle_gas_differs"]


def test_pieces_of_two_kinds_with_one_code_are_both_shown():
    scenario = counter()
    scenario.when(RegisterBottle(bottle="m1", test_due=TODAY))
    assert [one.kind for one in shown(scenario, None, "m1").in_hand] == ["marker", "bottle"]


def test_nobody_unknown_stands_at_the_counter():
    with pytest.raises(UnknownSubject):
        shown(counter(), "p9")


def of_stock(scenario, today=TODAY):
    states = {}
    STOCK.apply(scenario.events, states)
    hired = sorted(tag.partition(":")[2] for tag in states if tag.startswith("hired:"))
    return stock(hired, STOCK.given(states), scenario.moment().now, today, (1, 7))


def test_each_piece_for_hire_counts_once_and_a_players_own_never():
    scenario = counter()
    equip(scenario, marker="m1")
    own(scenario, "marker")
    scenario.when(QuarantineGear(mask="k1", fault="strap"))
    scenario.when(RegisterBottle(bottle="b-old", test_due=TODAY - timedelta(days=1)))
    found = {
        (one.kind, one.model): (one.ready, one.out, one.quarantined, one.out_of_test)
        for one in of_stock(scenario).spares
    }
    assert found == {
        ("marker", "Heron"): (1, 1, 0, 0),
        ("mask", "Visor"): (1, 0, 1, 0),
        ("bottle", "air"): (1, 0, 0, 1),
    }


def test_what_is_out_is_named_with_who_has_it_the_longest_first_and_since_which_day():
    scenario = counter()
    equip(scenario, "p2", marker="m1")
    scenario.at(20)
    equip(scenario, "p1", mask="k1")
    found = of_stock(scenario).out
    assert [(one.name, one.armband, one.other_day) for one in found] == [("m1", 2, False), ("k1", 1, False)]
    assert [one.other_day for one in of_stock(scenario, TODAY + timedelta(days=1)).out] == [True, True]


def test_a_return_that_is_told_twice_does_not_change_since_when_the_next_one_has_it():
    scenario = counter()
    equip(scenario, "p2", marker="m1")
    scenario.at(20).when(ReturnGear(player="p2", marker="m1"))
    scenario.at(30)
    equip(scenario, "p1", marker="m1")
    scenario.at(40).when(ReturnGear(player="p2", marker="m1"))
    (out,) = of_stock(scenario).out
    assert (out.player, out.since) == ("p1", NINE + timedelta(minutes=30))
    assert shown(scenario, "p1").customer.gear[0].since == NINE + timedelta(minutes=30)


def test_what_came_back_is_a_spare_again():
    scenario = counter()
    equip(scenario, "p2", marker="m1")
    scenario.at(20).when(ReturnGear(player="p2", marker="m1"))
    assert of_stock(scenario).out == ()
    assert of_stock(scenario).spares[0].ready == 2
