"""Teams for the next game: proposed from who is cleared, groups whole, numbers level, and overruled on the record. What a difference weighs is common practice, no source."""

import time
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from contracts.balance import Overruled
from contracts.equipment import MarkerRegistered
from contracts.games import CallGame, Entrant, GameAbandoned, GameCalled, GameEnded, GameStarted, PlayerAdmitted
from contracts.park import RulesAdopted
from contracts.problems import RuleForbids, UnknownSubject
from contracts.registration import PersonRegistered
from contracts.rules import GameRules, Rules, TeamRules
from contracts.teams import ProposeTeams
from services.core.rules import RULES
from services.games.teams import proposal, staging
from services.games.teams.optimum import divide, imbalance
from services.games.teams.results import RESULTS
from services.games.teams.strengths import Strength
from services.games.teams.units import units, why_split
from tests.unit.field_day import BASIS, Gate, field_day, on_duty, player
from tests.unit.scenario import NINE


@pytest.fixture
def gate(monkeypatch):
    made = Gate()
    monkeypatch.setattr(staging, "clearance", made)
    return made


@pytest.fixture
def day(gate):  # noqa: ARG001 - it stands in for the clearance
    """Birch takes 6, fern 40; a referee on birch; nobody registered yet."""
    return rules(field_day(0))


def arrive(day, name, group=None, band=18):
    day.given(PersonRegistered(person=f"person-{name}", age_band=band))
    day.given(replace(player(name), group=group, age_band=band))
    return name


def arrive_all(day, *groups, band=18):
    """Groups of these sizes, named a, b, c…; each player's name begins with his group's."""
    return [
        arrive(day, f"{name}{n}", name, band)
        for name, size in zip("abcdefgh", groups, strict=False)
        for n in range(size)
    ]


def ask(day, *names, **more):
    question = ProposeTeams(field=more.pop("field", "birch"), players=tuple(names), **more)
    loaded = day.load(lambda given: {(RULES, ""), *staging.subjects(question, given)})
    return proposal.propose(question, loaded, day.moment())


def sides(found):
    return [set(team.players) for team in found.teams]


def rules(day, **teams):
    """Time enough for a busy machine."""
    games = GameRules(teams=TeamRules(**{"seconds": 10, **teams}))
    return day.given(RulesAdopted(rules=Rules(version="t", games=games)))


def ended(game, *names, winner=None):
    return GameEnded(
        game=game,
        field="birch",
        rotation=None,
        format="elimination",
        started_at=NINE,
        played_minutes=15,
        full=True,
        players=names,
        winner=winner,
    )


def started(game, **colours):
    listed = tuple(Entrant(player=name, colour=colour) for name, colour in colours.items())
    return GameStarted(
        basis=BASIS,
        game=game,
        field="birch",
        rotation=None,
        format="elimination",
        minutes=15,
        entrants=listed,
        left_out=(),
    )


def played(day, game, winner, **colours):
    listed = tuple(Entrant(player=name, colour=colour) for name, colour in colours.items())
    day.given(GameCalled(game=game, field="birch", rotation=None, format="elimination", minutes=15, entrants=listed))
    day.given(started(game, **colours), ended(game, *colours, winner=winner))
    return day


# the day's results


def test_a_player_has_won_where_his_colour_did_and_lost_where_another_did(day):
    played(day, "g1", "red", a="red", b="blue")
    played(day, "g2", "red", a="blue", b="red")
    played(day, "g3", "red", a="red", b="blue")
    a = day.state(RESULTS, "a")
    assert (a.played, sorted(a.decided)) == (3, [(False, 2), (True, 2), (True, 2)])


def test_a_game_without_a_winner_is_played_and_neither_won_nor_lost(day):
    played(day, "g1", None, a="red")
    a = day.state(RESULTS, "a")
    assert (a.played, a.decided) == (1, ())


def test_a_game_that_was_given_up_counts_for_nothing(day):
    day.given(started("g1", a="red"))
    day.given(GameAbandoned(game="g1", field="birch", rotation=None, players=("a",), cause="weather"))
    day.at(5).given(ended("g1", "a", winner="red"))
    a = day.state(RESULTS, "a")
    assert (a.played, a.decided) == (0, ())


def test_of_two_ends_the_one_that_happened_first_stands_however_late_it_is_told(day):
    day.given(started("g1", a="red"))
    day.at(20).given(ended("g1", "a", winner="blue"))
    day.given(ended("g1", "a", winner="red"), occurred_at=NINE + timedelta(minutes=15))
    assert day.state(RESULTS, "a").decided == ((True, 1),)


def test_a_colour_known_at_the_gate_counts_and_who_does_not_play_wins_nothing(day):
    at_the_gate = {"basis": BASIS, "field": "birch", "game": "g1", "colour": "red"}
    day.given(PlayerAdmitted(player="a", **at_the_gate), PlayerAdmitted(player="ref", part="referee", **at_the_gate))
    day.given(ended("g1", "a", "ref", winner="red"))
    assert [day.state(RESULTS, name).decided for name in ("a", "ref")] == [((True, 2),), ()]


def test_who_was_here_on_another_day_is_no_first_timer(day):
    day.given(replace(player("a-then"), person="person-a"), occurred_at=NINE - timedelta(days=30))
    arrive_all(day, 1, 1)
    day.given(replace(player("a0"), person="person-a"))
    found = ask(day, "a0", "b0")
    rows = {one.attribute: [each.total for each in one.sums] for one in found.balance}
    assert rows["first_timers"] == [int("b0" in team) for team in sides(found)]


# who plays


def test_nobody_who_is_not_ready_is_on_a_team_and_each_is_named_with_his_reason(day, gate):
    names = arrive_all(day, 2, 2)
    gate.against["a1"] = "entry_unpaid"
    found = ask(day, *names)
    assert [(one.player, [r.code for r in one.reasons]) for one in found.not_ready] == [("a1", ["entry_unpaid"])]
    assert set().union(*sides(found)) == {"a0", "b0", "b1"}


def test_who_is_not_here_as_a_player_is_on_no_team(day):
    names = arrive_all(day, 1, 1)
    day.given(replace(player("ref"), part="referee"))
    found = ask(day, *names, "ref")
    assert [one.reasons[0].code for one in found.not_ready] == ["not_playing"]
    assert sides(found) == [{"a0"}, {"b0"}]


def test_groups_stay_whole_and_numbers_differ_by_one_at_most(day):
    """Adults on one side and children on the other: single players would be divided otherwise."""
    found = ask(day, *arrive_all(day, 3), *(arrive(day, name, name[0], 12) for name in ("b0", "b1", "c0")))
    assert {frozenset(one) for one in sides(found)} == {frozenset({"a0", "a1", "a2"}), frozenset({"b0", "b1", "c0"})}
    assert (found.waiting, found.split, found.proven) == ((), (), True)


def test_a_field_takes_no_more_than_its_capacity_and_the_rest_wait_whole(day):
    found = ask(day, *arrive_all(day, 3, 3, 2))
    assert {frozenset(one) for one in sides(found)} == {frozenset({"a0", "a1", "a2"}), frozenset({"b0", "b1", "b2"})}
    (waits,) = found.waiting
    assert (waits.group, waits.players) == ("c", ("c0", "c1"))
    assert waits.sentence == "No place is left for group c of 2: field birch has 6. They are first for the next game."


def test_the_referees_on_duty_set_how_many_may_play(day):
    names = arrive_all(day, 1, 1, 1, 1)
    day.given(
        RulesAdopted(rules=Rules(version="strict", games=GameRules(players_per_referee=2, teams=TeamRules(seconds=10))))
    )
    assert (ask(day, *names).places, len(ask(day, *names).waiting)) == (2, 2)
    day.given(on_duty("s3", "referee", "birch"))
    assert (ask(day, *names).places, len(ask(day, *names).waiting)) == (4, 0)


def test_a_field_without_a_referee_gets_no_teams_and_is_told_why(day):
    found = ask(day, *arrive_all(day, 1, 1), field="fern")
    assert (found.teams, found.proposed, found.places) == ((), None, 0)
    assert found.why == ("The referees on duty at this field allow nobody to play. Send a referee there.",)
    assert "too_few_referees" in [one.code for one in found.of_field]


def test_who_has_played_least_goes_first(day):
    names = arrive_all(day, 2, 2, 2, 2)
    played(day, "g1", None, a0="red", a1="red")
    found = ask(day, *names)
    assert "a" in [one.group for one in found.waiting]
    played(day, "g2", None, b0="red", b1="red", c0="blue", c1="blue")
    assert [one.group for one in ask(day, *names).waiting].count("d") == 0


def test_one_player_makes_no_two_teams(day):
    found = ask(day, arrive(day, "a"))
    assert (found.teams, found.why) == ((), ("Ready: 1. Two teams need two players at least.",))
    assert found.waiting[0].players == ("a",)


# splitting


def test_a_group_that_another_field_could_take_whole_waits_for_it(day):
    found = ask(day, *arrive_all(day, 4, 3, 3))
    (waits,) = found.waiting
    assert (waits.group, found.split) == ("a", ())
    assert (
        waits.sentence
        == "No team has room for group a of 4: field birch has 6 places now. A larger field can take them."
    )


def test_a_group_that_no_field_could_have_on_one_team_is_split_and_it_is_said(day):
    day.given(on_duty("s3", "referee", "birch"))
    names = arrive_all(day, 21, 20)
    found = ask(day, *names)
    assert [one.group for one in found.split] == ["a"]
    assert found.split[0].sentence == "Group a has 21 players ready; no field takes more than 20 of them on one team."
    assert sum(len(team.players) for team in found.teams) == 6


def test_a_group_that_the_others_cannot_stand_against_is_split_and_it_is_said(day):
    found = ask(day, *arrive_all(day, 4, 2))
    assert [one.sentence for one in found.split] == [
        "Group a has 4 of the 6 players ready: all others together are too few to stand against it."
    ]
    assert [len(one) for one in sides(found)] == [3, 3]


def fields(day):
    """What is configured: birch takes 6, fern 40."""
    return [one.data for one in day.events if one.type == "games.field_configured"]


def may_split(day, *sizes, agreed=()):
    """Which of these groups may be split, and why."""
    groups = {f"{name}{n}": name for name, size in zip("ab", sizes, strict=True) for n in range(size)}
    return why_split(groups, dict.fromkeys(groups, Strength(years=18)), fields(day), agreed)


def test_a_group_of_one_more_than_all_others_is_kept_whole_and_of_two_more_is_not(day):
    assert may_split(day, 4, 3) == {}
    assert list(may_split(day, 5, 3)) == ["a"]


def test_a_group_as_large_as_the_largest_team_is_kept_whole(day):
    assert may_split(day, 20, 20) == {}
    assert list(may_split(day, 21, 20)) == ["a"]


def test_fields_for_older_players_than_its_youngest_take_no_group_whole(day):
    groups = {f"{name}{n}": name for name in "ab" for n in range(3)}
    known = dict.fromkeys(groups, Strength(years=10))
    assert why_split(groups, known, fields(day), []) == {
        group: f"Group {group} has 3 players ready; no field takes more than 0 of them on one team." for group in "ab"
    }


def test_a_group_that_agrees_may_be_split(day):
    assert may_split(day, 3, 3, agreed=["b"]) == {"b": "Group b agreed to be split."}


def test_three_groups_of_two_make_a_game_once_one_agrees_to_be_split(day):
    names = arrive_all(day, 2, 2, 2)
    whole, agreed = ask(day, *names), ask(day, *names, split=("c",))
    assert [len(one) for one in sides(whole)] == [2, 2]
    (waits,) = whole.waiting
    assert (
        waits.sentence
        == f"With group {waits.group} of 2 the teams would not be equal in number. They are first for the next game."
    )
    assert ([len(one) for one in sides(agreed)], [one.group for one in agreed.split]) == ([3, 3], ["c"])


# the balance


def test_age_first_visit_marker_and_results_are_each_summed_over_both_teams(day):
    for name, band in (("a", 18), ("b", 18), ("c", 10), ("d", 10)):
        arrive(day, name, None, band)
    day.given(MarkerRegistered(marker="m1", owner="a", model="Heron", calibre=".68", gas="air", firing_mode="semi"))
    played(day, "g1", "red", c="red", d="blue", x="red", y="blue")
    found = ask(day, "a", "b", "c", "d")
    rows = {one.attribute: ([each.total for each in one.sums], one.difference, one.points) for one in found.balance}
    assert rows["players"] == ([2, 2], 0, 0)
    assert rows["years"] == ([28, 28], 0, 0)
    assert rows["first_timers"] == ([2, 2], 0, 0)
    assert rows["own_markers"][1:] == (1, 30)
    assert rows["results"][1:] == (56, 56)
    assert found.imbalance == sum(one.points for one in found.balance) == 86
    assert (found.gap, found.proven) == (0, True)
    assert found.why[0] == (
        "The teams lie 86 points apart; beyond 71 the stronger one may win more than 60% of such games. "
        "No teams of these players are nearer than 86: proven."
    )


def test_what_keeping_groups_whole_costs_is_said(day):
    for name, group, band in (("a", "x", 18), ("b", "x", 18), ("c", "y", 8), ("d", "y", 8)):
        arrive(day, name, group, band)
    found = ask(day, "a", "b", "c", "d")
    assert found.imbalance == 4 * 20
    assert found.why[1] == "With groups split they could lie 0 points apart: keeping them whole costs the rest."


def test_an_attribute_that_weighs_nothing_is_told_and_not_balanced(day):
    rules(day, year_points=0, first_timer_points=0, own_marker_points=0, result_points=0)
    for name, band in (("a", 18), ("b", 18), ("c", 8), ("d", 8)):
        arrive(day, name, None, band)
    found = ask(day, "a", "b", "c", "d")
    assert (found.imbalance, found.proven) == (0, True)


# after a one-sided game


def test_after_a_one_sided_game_no_more_change_sides_than_it_takes(day):
    names = [arrive(day, name, None) for name in "abcdef"]
    played(day, "g1", "red", a="red", b="red", c="red", d="blue", e="blue", f="blue")
    same = ask(day, *names)
    found = ask(day, *names, after="g1")
    assert same.imbalance == 46
    assert found.imbalance == 46
    assert len(found.changes) == 2
    assert len(set(found.changes) & set("abc")) == 1
    assert [len(one) for one in sides(found)] == [3, 3]


def test_teams_within_the_tolerance_stay_as_they_are(day):
    rules(day, favoured=0.66)
    names = [arrive(day, name, None) for name in "abcdef"]
    played(day, "g1", "red", a="red", b="red", c="red", d="blue", e="blue", f="blue")
    found = ask(day, *names, after="g1")
    assert found.changes == ()
    assert sides(found) == [set("abc"), set("def")]
    assert (
        found.why[0] == "The teams lie 138 points apart; 46 would be the nearest, and more players would change sides."
    )


def test_a_game_that_nobody_called_is_named(day):
    arrive(day, "a")
    with pytest.raises(UnknownSubject, match="game g9"):
        ask(day, "a", after="g9")
    with pytest.raises(UnknownSubject, match="field moor"):
        ask(day, "a", field="moor")


def test_two_teams_of_one_colour_are_refused(day):
    with pytest.raises(RuleForbids, match="Both teams would wear red"):
        ask(day, arrive(day, "a"), colours=("red", "red"))


# overruling


def called(day, found, **changes):
    worn = {one.player: one.colour for one in found.proposed.entrants} | changes
    entrants = tuple(Entrant(player=name, colour=colour) for name, colour in worn.items() if colour)
    return day.when(CallGame(game="g7", field="birch", entrants=entrants, proposal=found.proposed))


def test_a_game_called_as_proposed_says_from_which_proposal(day):
    found = ask(day, *arrive_all(day, 2, 2))
    game, beside = called(day, found)
    assert isinstance(game, GameCalled)
    assert game.entrants == found.proposed.entrants
    assert (beside.proposal, beside.rested_on, beside.overruled) == (found.proposed.proposal, found.basis.position, ())
    assert beside.proposed == beside.called == found.balance


def test_what_the_referee_changes_is_recorded_with_what_it_does_to_the_balance(day):
    for name, band in (("a", 18), ("b", 8), ("c", 18), ("d", 8), ("late", 18)):
        arrive(day, name, None, band)
    found = ask(day, "a", "b", "c", "d")
    worn = {one.player: one.colour for one in found.proposed.entrants}
    red = {name for name, colour in worn.items() if colour == "red"}
    assert len(red & {"a", "c"}) == 1
    (adult,) = red & {"a", "c"}
    _, beside = called(day, found, **{adult: "blue", "late": "red"})
    assert {one.player: (one.proposed, one.called) for one in beside.overruled} == {
        adult: ("red", "blue"),
        "late": (None, "red"),
    }
    before, after = (
        {row.attribute: [one.total for one in row.sums] for row in rows} for rows in (beside.proposed, beside.called)
    )
    assert (before["years"], before["players"]) == ([26, 26], [2, 2])
    assert (after["years"], after["players"]) == ([26, 44], [2, 3])
    assert {row.attribute: row.points for row in beside.called}["years"] == 72


def test_who_was_struck_off_the_proposal_is_on_the_record_as_called_for_no_team(day):
    found = ask(day, *arrive_all(day, 2, 2))
    _, beside = called(day, found, a0=None)
    was = {one.player: one.colour for one in found.proposed.entrants}["a0"]
    assert beside.overruled == (Overruled(player="a0", proposed=was, called=None),)


def test_a_game_called_without_a_proposal_records_none(day):
    arrive(day, "a")
    (game,) = day.when(CallGame(game="g7", field="birch", entrants=(Entrant(player="a", colour="red"),)))
    assert isinstance(game, GameCalled)


def test_a_proposal_cannot_bring_in_who_was_never_registered(day):
    found = ask(day, *arrive_all(day, 1, 1))
    with pytest.raises(UnknownSubject, match="player nobody"):
        called(day, found, nobody="red")


# promises that hold of every staging


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(1, 4), min_size=2, max_size=8), st.integers(2, 20), st.data())
def test_groups_are_whole_numbers_level_and_everybody_is_accounted_for(sizes, places, data):
    known = {
        f"{name}{n}": Strength(years=data.draw(st.sampled_from((8, 10, 18))))
        for name, size in zip("abcdefgh", sizes, strict=False)
        for n in range(size)
    }
    groups = {name: name[0] for name in known}
    found = divide(units(groups, known, {}, ()), places, (4, 30, 30, 1), 5)
    if found is None:
        return
    teams = [{player for unit in team for player in unit.players} for team in found.teams]
    waiting = {player for unit in found.waiting for player in unit.players}
    assert abs(len(teams[0]) - len(teams[1])) <= 1
    assert len(teams[0]) + len(teams[1]) <= places
    assert sorted([*teams[0], *teams[1], *waiting]) == sorted(known)
    for name in set(groups.values()):
        members = {player for player in known if player[0] == name}
        assert members <= teams[0] or members <= teams[1] or members <= waiting
    assert found.imbalance == imbalance(found.teams, (4, 30, 30, 1)) >= found.bound


def test_the_time_limit_is_kept_and_what_is_not_known_is_said():
    """Forty players whose strengths are all different: no search settles that in a second."""
    known = {
        f"p{n:02}": Strength(years=pow(7, 20 + n, 10**6 - 17), result=pow(5, 9 + n, 10**6 - 17)) for n in range(40)
    }
    made = units(dict.fromkeys(known), known, {}, ())
    begun = time.monotonic()
    found = divide(made, 40, (997, 0, 0, 1009), 1.0)
    assert time.monotonic() - begun < 2
    assert found is not None
    assert found.gap == found.imbalance - found.bound > 0
