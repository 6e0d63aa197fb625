"""The rotation's planner: what every plan of every park must hold to, and what it does with some plain ones. Values of the trade are common practice, no source."""

from itertools import combinations
from math import ceil, inf
from random import Random
from time import process_time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from contracts.rules import RotationRules
from services.games.rotation.model import Ground, Party, Seat, Session, Slot
from services.games.rotation.planner import plan
from services.games.rotation.seating import outnumbering, seat
from services.games.rotation.units import Unit
from tests.unit.rotation_park import (
    CLOSE,
    RULES,
    check_fields,
    check_parties,
    check_teams,
    check_whole,
    could_play,
    every_turn,
    parks,
    two_teams,
)

EXAMPLES = 60


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(parks())
def test_games_are_on_open_fields_within_their_places_with_a_break_between_and_nobody_else_in_a_session(park):
    grounds, parties = park
    check_fields(grounds, plan(grounds, parties, (), RULES), RULES)


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(parks())
def test_nobody_plays_before_he_is_ready_in_two_games_or_without_a_rest_and_who_does_not_play_is_told_why(park):
    grounds, parties = park
    check_parties(grounds, parties, plan(grounds, parties, (), RULES), RULES)


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(parks())
def test_groups_are_whole_unless_no_field_takes_them(park):
    grounds, parties = park
    check_whole(grounds, parties, plan(grounds, parties, (), RULES))


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(parks())
def test_every_game_can_be_two_equal_teams_with_the_groups_whole(park):
    grounds, parties = park
    check_teams(grounds, parties, plan(grounds, parties, (), RULES))


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(parks(sessions=False))
def test_no_group_waits_twice_while_another_plays_three_times_in_its_place(park):
    """Counted from any game of the other since which both were ready, two games ahead is too far; unless there had been no fair game at all."""
    grounds, parties = park
    made = plan(grounds, parties, (), RULES)
    for slot in made.slots:
        playing, able = {one.party for one in slot.seats}, set(could_play(grounds, parties, made, slot, RULES))
        before = {
            name: {other for other in able if lead(made, parties, name, other, slot) > 1} for name in sorted(able)
        }
        unfair = [name for name in playing & able if before[name] - playing]
        assert not unfair or not fair_game(grounds, parties, before, slot)


def lead(made, parties, name, other, slot):
    """By how many games one would be ahead of another with this one, counted from any of its games since which both were ready."""
    turns, ready = every_turn(made), next(one for one in parties if one.name == other).ready_at
    mine, had = ([one.start for one in turns.get((party, 0), []) if one.start < slot.start] for party in (name, other))
    counts = [
        1 + sum(start >= since for start in mine) - sum(start >= since - CLOSE for start in had)
        for since in mine
        if since >= ready - CLOSE
    ]
    return max(counts, default=0)


def fair_game(grounds, parties, before, slot):
    """Whether some of those who could play there make a game in which nobody goes before somebody who is left out."""
    places = next(one.places for one in grounds if one.field == slot.field)
    numbers = {one.name: one.players[slot.field] for one in parties if one.name in before}
    for count in range(1, len(numbers) + 1):
        for some in combinations(sorted(numbers), count):
            sizes = [numbers[name] for name in some]
            fair = all(before[name] <= set(some) for name in some)
            if fair and RULES.fewest_players <= sum(sizes) <= places and two_teams(sizes, []):
                return True
    return False


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(parks())
def test_with_nothing_changed_the_plan_is_the_plan_before_and_nobody_moves(park):
    grounds, parties = park
    before = plan(grounds, parties, (), RULES)
    again = plan(grounds, parties, before.slots, RULES)
    assert again.slots == before.slots
    assert again.moved == ()


@settings(max_examples=EXAMPLES, deadline=None, derandomize=True)
@given(parks(), st.data())
def test_whatever_the_plan_before_said_the_plan_holds_to_the_same(park, data):
    """A field is held, and a group comes that nobody knew of: re-planned from a plan that knew better."""
    grounds, parties = park
    before = plan(grounds, parties[1:], (), RULES)
    held = data.draw(st.sampled_from(grounds))
    grounds = [replace(one, free_at=None) if one is held else one for one in grounds]
    made = plan(grounds, parties, before.slots, RULES)
    check_fields(grounds, made, RULES)
    check_parties(grounds, parties, made, RULES)
    check_whole(grounds, parties, made)
    check_teams(grounds, parties, made)
    assert set(made.moved) <= {one.party for slot in before.slots for one in slot.seats}


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    st.lists(st.tuples(st.integers(1, 6), st.integers(1, 50)), min_size=1, max_size=8),
    st.integers(2, 12),
)
def test_the_game_of_a_field_is_the_best_of_all_that_there_are(asked, places):
    """Against brute force over every choice: the most players times minutes waited, two teams that differ by one at most, groups whole on one."""
    units = [unit(f"g{index}", players) for index, (players, _) in enumerate(asked)]
    worth = {id(one): float(one.players * waited) for one, (_, waited) in zip(units, asked, strict=True)}
    found = seat(units, worth, places, levels=outnumbering(units))
    best, total = 0.0, sum(one.players for one in units)
    for count in range(len(units) + 1):
        for some in combinations(units, count):
            spread = [one.players for one in some if one.players > total - one.players + 1]
            whole = [one.players for one in some if one.players <= total - one.players + 1]
            fits = sum(one.players for one in some) <= places and max(whole, default=0) <= ceil(places / 2)
            if fits and two_teams_within(whole, spread, ceil(places / 2)):
                best = max(best, sum(worth[id(one)] for one in some))
    assert sum(worth[id(one)] for one in found) == pytest.approx(best)


def two_teams_within(whole, spread, half):
    total, loose = sum(whole), sum(spread)
    return any(
        abs(2 * sum(chosen) - total) <= loose + 1 and sum(chosen) <= half and total - sum(chosen) <= half
        for count in range(len(whole) + 1)
        for chosen in combinations(whole, count)
    )


def unit(name, players):
    return Unit((name, 0), players, frozenset({"birch"}), levels=False, ready=0, since=0, arrived=0, played=0)


def group(name, size, *fields, **more):
    return Party(f"group:{name}", dict.fromkeys(fields or ("birch", "fern"), size), **more)


def when(made, name):
    """The field and start of each game of a group."""
    return [(one.field, one.start) for one in made.slots if any(seat.party == f"group:{name}" for seat in one.seats)]


BIRCH, FERN = Ground("birch", 12, 0.0), Ground("fern", 12, 0.0)


def test_who_has_waited_longest_plays_first():
    parties = [group(name, 6, "birch", waited=waited) for name, waited in (("a", 10), ("b", 40), ("c", 30), ("d", 20))]
    made = plan([BIRCH], parties, (), RULES)
    assert [when(made, name)[0] for name in "bcda"] == [("birch", 0), ("birch", 0), ("birch", 22), ("birch", 22)]


def test_of_those_who_waited_alike_who_has_played_less_plays_first():
    parties = [group(name, 6, "birch", played=played) for name, played in (("a", 2), ("b", 2), ("c", 1))]
    assert when(plan([BIRCH], parties, (), RULES), "c")[0] == ("birch", 0)


def test_a_group_that_is_not_ready_rolls_to_the_next_round_and_the_field_does_not_wait():
    parties = [group("a", 6, "birch", ready_at=8), group("b", 6, "birch"), group("c", 6, "birch")]
    made = plan([BIRCH], parties, (), replace(RULES, fewest_players=8))
    assert (when(made, "b")[0], when(made, "c")[0], when(made, "a")[0]) == (("birch", 0), ("birch", 0), ("birch", 25))


def test_a_group_of_which_nobody_knows_when_it_is_ready_has_no_game_and_the_reason():
    made = plan([BIRCH], [group("a", 6, ready_at=inf), group("b", 6)], (), RULES)
    assert made.waiting["group:a"] == "not_ready"


def test_a_group_too_young_for_the_other_fields_plays_on_its_own_and_has_it_before_who_fits_elsewhere():
    parties = [
        group("young", 6, "fern", waited=5),
        group("b", 6, waited=20),
        group("c", 6, waited=20),
        group("d", 6, "fern", waited=5),
    ]
    made = plan([BIRCH, FERN], parties, (), RULES)
    assert [when(made, name)[0][0] for name in ("young", "b", "c", "d")] == ["fern", "birch", "birch", "fern"]


def test_a_group_goes_where_all_of_it_may_play():
    mixed = Party("group:mixed", {"birch": 5, "fern": 6})
    made = plan([BIRCH, FERN], [mixed, group("b", 6)], (), RULES)
    assert when(made, "mixed")[0] == ("fern", 0)


def test_a_group_that_no_field_takes_is_cut_into_even_parts_and_no_other_is():
    made = plan([BIRCH, FERN], [group("coach", 20), group("b", 6)], (), RULES)
    assert made.parts == {"group:coach": 2}
    assert {seat.players for slot in made.slots for seat in slot.seats if seat.party == "group:coach"} == {10}


def test_a_group_that_only_a_held_field_takes_waits_for_it_whole():
    held = Ground("quarry", 40, None)
    made = plan(
        [BIRCH, held], [Party("group:coach", {"birch": 20, "quarry": 20}), group("b", 6), group("c", 6)], (), RULES
    )
    assert (made.waiting["group:coach"], made.parts) == ("no_field", {})


def test_three_equal_groups_of_which_two_fill_the_field_take_turns():
    parties = [group(name, 6, "birch") for name in "abc"]
    made = plan([BIRCH], parties, (), replace(RULES, fewest_players=8))
    games = sorted(len(when(made, name)) for name in "abc")
    assert games[2] - games[0] <= 1
    assert len(made.slots) * 2 == sum(games) >= 8


def test_too_few_make_no_game_and_are_told_so():
    made = plan([BIRCH], [group("a", 3)], (), RULES)
    assert (made.slots, made.waiting) == ((), {"group:a": "too_few"})


def test_whoever_no_game_before_the_horizon_has_a_place_for_is_told_so():
    parties = [group(f"g{number}", 6, "birch", waited=60 - number) for number in range(14)]
    made = plan([BIRCH], parties, (), RULES)
    assert made.waiting == {"group:g12": "no_place", "group:g13": "no_place"}


def test_a_session_is_its_groups_alone_whole_or_in_parts_that_take_turns():
    booked = replace(BIRCH, private=(Session("group:a", 30, 90),))
    made = plan([booked], [group("a", 6), group("b", 6), group("c", 6)], (), RULES)
    private = [(slot.start, [one.party for one in slot.seats]) for slot in made.slots if slot.private]
    assert private == [(start, ["group:a"]) for start in (30, 52, 74)]
    made = plan([booked], [group("a", 20), group("b", 6)], (), RULES)
    assert [one.part for slot in made.slots if slot.private for one in slot.seats] == [1, 2, 1]


def test_a_session_of_a_group_that_is_not_here_keeps_its_field_free():
    booked = replace(BIRCH, private=(Session("group:away", 0, 60),))
    made = plan([booked], [group("a", 6), group("b", 6)], (), RULES)
    assert when(made, "a")[0] == ("birch", 60)


def test_a_game_that_runs_over_moves_the_start_and_nobody():
    parties = [group(name, 6, waited=waited) for name, waited in (("a", 4), ("b", 3), ("c", 2), ("d", 1))]
    before = plan([BIRCH, FERN], parties, (), RULES)
    made = plan([replace(BIRCH, free_at=6.0), FERN], parties, before.slots, RULES)
    assert made.moved == ()
    assert [slot.start for slot in made.slots if slot.field == "birch"][:1] == [6]
    assert [slot.seats for slot in made.slots][:2] == [slot.seats for slot in before.slots][:2] or made.slots


def test_a_field_that_is_held_moves_its_own_groups_and_no_others_where_there_is_room():
    roomy = [Ground("birch", 24, 0.0), Ground("fern", 12, 0.0)]
    parties = [group(name, 6, "birch") for name in "ab"] + [group(name, 6, "birch", "fern") for name in "cd"]
    before = plan(
        roomy,
        parties,
        (
            Slot("birch", 0, 15, (Seat("group:a", 6), Seat("group:b", 6))),
            Slot("fern", 0, 15, (Seat("group:c", 6), Seat("group:d", 6))),
        ),
        RULES,
    )
    made = plan([roomy[0], replace(roomy[1], free_at=None)], parties, before.slots, RULES)
    assert set(made.moved) == {"group:c", "group:d"}
    assert {seat.party for seat in made.slots[0].seats} == {f"group:{name}" for name in "abcd"}


def test_a_group_that_comes_now_fills_free_places_and_moves_nobody():
    parties = [group("a", 4, "birch"), group("b", 4, "birch")]
    before = plan([BIRCH], parties, (), RULES)
    made = plan([BIRCH], [*parties, group("c", 2, "birch"), group("d", 2, "birch")], before.slots, RULES)
    assert made.moved == ()
    assert when(made, "c")[0] == ("birch", 0)


@pytest.mark.parametrize(("waited", "first"), [(20, "a"), (21, "new")])
def test_a_promise_stands_unless_another_has_waited_longer_by_more_than_the_rule(waited, first):
    """20 minutes by default. The new one is as large as either, and the field takes two."""
    promised = Slot("birch", 0, 15, (Seat("group:a", 6), Seat("group:b", 6)))
    parties = [group("a", 6, "birch"), group("b", 6, "birch", waited=5), group("new", 6, "birch", waited=waited)]
    made = plan([BIRCH], parties, [promised], RULES)
    assert when(made, first)[0] == ("birch", 0)
    assert ("group:a" in made.moved) is (first == "new")


def test_whoever_has_to_be_let_in_takes_no_more_with_him_than_he_must():
    """One has waited longer by 21 minutes and comes in; another, by 15, does not: one of the promised two keeps his place."""
    promised = Slot("birch", 0, 15, (Seat("group:a", 6), Seat("group:b", 6)))
    parties = [group(name, 6, "birch", waited=waited) for name, waited in (("a", 0), ("b", 0), ("c", 21), ("d", 15))]
    playing = {seat.party for seat in plan([BIRCH], parties, [promised], RULES).slots[0].seats}
    assert "group:c" in playing
    assert "group:d" not in playing


@pytest.mark.parametrize(("session", "start"), [(21, 71), (22, 0)])
def test_no_game_is_begun_that_would_run_into_a_session_with_the_break_after_it(session, start):
    """Fifteen minutes and a break of seven."""
    booked = replace(BIRCH, private=(Session("group:away", session, session + 50),))
    made = plan([booked], [group("a", 6), group("b", 6)], (), RULES)
    assert made.slots[0].start == start


def test_a_game_of_the_plan_waits_a_little_for_its_own():
    promised = Slot("birch", 0, 15, (Seat("group:a", 6), Seat("group:b", 6)))
    parties = [group("a", 6, "birch", ready_at=5), group("b", 6, "birch"), group("c", 6, "birch")]
    assert when(plan([BIRCH], parties, [promised], RULES), "a")[0] == ("birch", 5)
    late = [replace(parties[0], ready_at=5.1), *parties[1:]]
    made = plan([BIRCH], late, [promised], RULES)
    assert (when(made, "c")[0], made.moved) == (("birch", 0), ("group:a",))


def test_a_game_that_staging_put_together_is_kept_against_whoever_waited_longer():
    fixed = Slot("birch", 0, 15, (Seat("group:a", 2), Seat("group:b", 3)), fixed=True)
    parties = [group("a", 2, "birch"), group("b", 3, "birch"), group("c", 6, "birch", waited=90)]
    made = plan([BIRCH], parties, [fixed], RULES)
    assert (made.slots[0].seats, made.slots[0].fixed) == (fixed.seats, True)


def test_a_group_that_has_gone_is_neither_moved_nor_kept_a_place():
    promised = Slot("birch", 0, 15, (Seat("group:a", 6), Seat("group:gone", 6)))
    made = plan([BIRCH], [group("a", 6), group("b", 6)], [promised], RULES)
    assert made.moved == ()
    assert {seat.party for seat in made.slots[0].seats} == {"group:a", "group:b"}


def test_rules_of_another_park_have_other_breaks_and_rests():
    rules = RotationRules(break_minutes=10, rest_minutes=30, fewest_players=4, horizon_minutes=60)
    made = plan([BIRCH], [group("a", 6), group("b", 6)], (), rules)
    assert [slot.start for slot in made.slots] == [0, 45]


def full_park():
    """Twelve fields, 300 groups and 1,500 players, of whom a fifth fit the three small fields only; as many are not ready yet."""
    random = Random(1)  # noqa: S311 - an invented park, not a secret
    fields = [f"field-{number}" for number in range(12)]
    grounds = [
        Ground(
            name,
            24 if index < 3 else random.choice((30, 40, 50, 60)),
            random.uniform(0, 24),
            random.choice((15.0, 20.0)),
        )
        for index, name in enumerate(fields)
    ]
    parties = [
        group(
            f"g{number}",
            1 + number % 9,
            *(fields[:3] if random.random() < 0.2 else fields),
            ready_at=random.uniform(1, 60) if number % 5 == 0 else 0.0,
            waited=0.0 if number % 5 == 0 else random.uniform(0, 80),
        )
        for number in range(300)
    ]
    return grounds, parties


def test_a_full_park_is_planned_and_planned_again_within_a_second():
    """Of processor time: 300 groups, 12 fields, two hours; then with a field held, one late, and a coach party of fifty more."""
    grounds, parties = full_park()
    begun = process_time()
    before = plan(grounds, parties, (), RotationRules())
    planned = process_time()
    changed = [replace(grounds[5], free_at=None), replace(grounds[6], free_at=30.0), *grounds[:5], *grounds[7:]]
    coach = group("coach", 50, *(one.field for one in grounds))
    made = plan(changed, [*parties, coach], before.slots, RotationRules())
    assert max(planned - begun, process_time() - planned) < 1
    assert sum(max(one.players.values()) for one in parties) >= 1490
    assert len(before.slots) >= 50
    assert when(made, "coach")


def test_with_a_field_held_nobody_else_is_moved_of_whom_the_plan_told_for_the_next_minutes():
    """In a park without a free place the hour after may turn over; what was told for the next twenty minutes stands, but for the field's own."""
    grounds, parties = full_park()
    rules = RotationRules()
    before = plan(grounds, parties, (), rules)
    made = plan([replace(grounds[5], free_at=None), *grounds[:5], *grounds[6:]], parties, before.slots, rules)
    told = {(slot.field, seat.party) for slot in before.slots if slot.start < rules.firm_minutes for seat in slot.seats}
    now = {(slot.field, seat.party) for slot in made.slots if slot.start < rules.firm_minutes for seat in slot.seats}
    assert len(told) > 80
    assert {field for field, _ in told - now} == {grounds[5].field}
