"""Where a player is, in whatever order it is told."""

from datetime import timedelta

import pytest
from hypothesis import given as drawn
from hypothesis import strategies as st

from contracts.games import GameEnded, Offender, PlayerAdmitted, PlayerOut
from contracts.games import GameStarted as Started
from contracts.registration import MinorHandedOver, PlayerLeft
from services.clearance.presence import PRESENCE, reasons, seen_elsewhere
from tests.unit.field_day import BASIS, entrants, player, where
from tests.unit.scenario import NINE, Scenario


def at(minutes: float):
    return NINE + timedelta(minutes=minutes)


def admitted(field: str, game: str | None) -> PlayerAdmitted:
    return PlayerAdmitted(basis=BASIS, player="p1", field=field, game=game, colour=None)


def out(field: str, game: str | None = None) -> PlayerOut:
    return PlayerOut(player="p1", field=field, game=game, cause="walked_off")


def started(*names: str, left_out: tuple[str, ...] = ()) -> Started:
    return Started(
        basis=BASIS,
        game="g1",
        field="birch",
        rotation=None,
        format="elimination",
        minutes=15,
        entrants=entrants(*names),
        left_out=tuple(Offender(player=name, reasons=()) for name in left_out),
    )


def ended(game: str, field: str = "birch") -> GameEnded:
    return GameEnded(
        game=game,
        field=field,
        rotation=None,
        format="elimination",
        started_at=NINE,
        played_minutes=10,
        full=True,
        players=("p1",),
        winner=None,
    )


@pytest.fixture
def day():
    return Scenario().given(player("p1"))


def test_a_start_puts_on_the_field_who_goes_and_not_who_is_left_out(day):
    day.given(started("p1", left_out=("p2",)))
    assert (where(day, "p1"), where(day, "p2")) == (("birch", "g1"), None)


def test_the_reason_names_the_field_and_the_game(day):
    (reason,) = reasons(day.given(admitted("birch", "g1")).state(PRESENCE, "p1"))
    assert (reason.code, reason.subject, reason.where) == ("already_on_field", "field:birch", "staging")
    assert reason.sentence.endswith("It is birch, game g1.")


@pytest.mark.parametrize(
    "way_out",
    [
        out("birch"),
        out("birch", "g1"),
        ended("g1"),
        PlayerLeft(player="p1"),
        MinorHandedOver(player="p1", adult="a1"),
    ],
)
def test_every_way_out_takes_him_off_the_field(day, way_out):
    day.given(admitted("birch", "g1")).at(5).given(way_out)
    assert where(day, "p1") is None
    assert reasons(day.state(PRESENCE, "p1")) == []


@pytest.mark.parametrize("way_out", [out("fern"), out("birch", "g2"), ended("g2")])
def test_a_way_out_of_elsewhere_does_not(day, way_out):
    day.given(admitted("birch", "g1")).at(5).given(way_out)
    assert where(day, "p1") == ("birch", "g1")


@pytest.mark.parametrize("late", [out("birch"), out("birch", "g1"), ended("g1"), PlayerLeft(player="p1")])
def test_a_late_word_of_an_earlier_leaving_takes_nobody_out_of_the_later_game(day, late):
    day.given(admitted("birch", "g1")).at(20).given(admitted("birch", "g2"))
    day.at(30).given(late, occurred_at=at(10))
    assert where(day, "p1") == ("birch", "g2")


def test_a_late_word_of_leaving_the_same_game_earlier_does_not_undo_coming_back_to_it(day):
    day.given(admitted("birch", "g1")).at(8).given(out("birch", "g1"))
    day.at(10).given(admitted("birch", "g1"))
    day.at(30).given(out("birch", "g1"), occurred_at=at(9))
    assert where(day, "p1") == ("birch", "g1")


def test_who_left_the_park_or_entered_another_field_since_was_seen_elsewhere(day):
    day.given(admitted("birch", "g1"))
    since = day.state(PRESENCE, "p1").entry.place
    assert not seen_elsewhere(day.at(5).given(out("birch")).state(PRESENCE, "p1"), "birch", since)
    day.given(PlayerLeft(player="p1"), occurred_at=at(-5))
    assert not seen_elsewhere(day.state(PRESENCE, "p1"), "birch", since)
    day.given(admitted("fern", "g2"))
    assert seen_elsewhere(day.state(PRESENCE, "p1"), "birch", since)
    gone = Scenario().given(player("p1"), admitted("birch", "g1")).at(9).given(PlayerLeft(player="p1"))
    assert seen_elsewhere(gone.state(PRESENCE, "p1"), "birch", since)


STEPS = st.one_of(
    st.builds(admitted, st.sampled_from(["birch", "fern"]), st.sampled_from(["g1", "g2", "g3"])),
    st.builds(out, st.sampled_from(["birch", "fern"]), st.sampled_from([None, "g1", "g2", "g3"])),
    st.just(PlayerLeft(player="p1")),
)


@drawn(st.lists(STEPS, max_size=7), st.randoms(use_true_random=False))
def test_in_whatever_order_it_is_told_he_is_where_he_was_last(steps, random):
    told = list(enumerate(steps))
    in_order = Scenario()
    for minute, step in told:
        in_order.given(step, occurred_at=at(minute))
    random.shuffle(told)
    shuffled = Scenario()
    for minute, step in told:
        shuffled.given(step, occurred_at=at(minute))
    assert where(shuffled, "p1") == where(in_order, "p1")
