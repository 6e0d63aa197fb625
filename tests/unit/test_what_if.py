"""What if: which decisions would have been others without an event or under other rules, and nothing else.

The rules of discipline are common practice, no source; that a what-if says the same as folding everything anew is held by brute force.
"""

import asyncio
from datetime import timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from contracts import discipline, duty, equipment, games, incidents, registration, velocity
from contracts.catalogue import TYPES
from contracts.envelope import Command, Grant, Refusal
from contracts.limits import Limit
from contracts.problems import Refused
from contracts.rules import (
    DEFAULT,
    ChronoRules,
    DisciplineRules,
    GameRules,
    MoneyRules,
    Rules,
    VelocityRules,
    Violation,
)
from contracts.vault import ErasureRefused, PersonErased
from services.audit.replays.decisions import KINDS
from services.audit.replays.replay import doubts
from services.audit.replays.worlds import Worlds
from tests.unit.retelling import by_brute_force, consequences_told, decisions_told, nothing_before, told_anew, what_if
from tests.unit.scenario import Scenario
from tests.unit.small_bench import SET_UPS
from tests.unit.small_park import (
    FACTS,
    GAMES,
    GATE,
    HANDLERS,
    LATE,
    PLAYERS,
    REQUESTS,
    VIOLATIONS,
    opening,
)

GRANTED = frozenset({"granted"})


def open_park() -> Scenario:
    """Four players who may play, two fields; it is nine."""
    day = Scenario(HANDLERS.values())
    for command in opening():
        day.when(command)
    return day


def last(day: Scenario, kind: type[Any]) -> int:
    """The position of the latest event of a kind."""
    return next(one.position for one in reversed(day.events) if isinstance(one.data, kind))


def of(kind: type[Any], day: Scenario, **fields: Any) -> int:
    (found,) = [
        one.position
        for one in day.events
        if isinstance(one.data, kind) and all(getattr(one.data, name) == value for name, value in fields.items())
    ]
    return found


def call(day: Scenario, game: str, *players: str, **more: Any) -> None:
    entrants = tuple(games.Entrant(player=one, colour="red") for one in players)
    day.when(games.CallGame(**{"game": game, "field": "birch", "rotation": "r1", "entrants": entrants} | more))


def play(day: Scenario, game: str, minute: float, *players: str) -> None:
    """A full game on birch, of rotation r1, with everybody counted off the field."""
    call(day.at(minute), game, *players)
    day.when(games.StartGame(game=game))
    day.at(minute + 15).when(games.EndGame(game=game))
    day.when(games.CountHeads(game=game, counted=len(players)))


def caution(day: Scenario, minute: float, name: str, violation: str = "wiping", player: str = "p1") -> int:
    day.at(minute).when(discipline.Caution(caution=name, violation=violation, player=player))
    return last(day, discipline.CautionRecorded)


def test_every_grant_and_refusal_can_be_taken_anew_but_erasures_which_rest_on_what_the_vault_alone_knows():
    decided = {data for data in TYPES if issubclass(data, Grant | Refusal)}
    assert decided | {games.EntryRecorded} == KINDS | {PersonErased, ErasureRefused}


def doubtful(day: Scenario) -> list[int]:
    """The decisions that do not follow from what was recorded before them."""

    async def found() -> list[int]:
        worlds, positions = Worlds(nothing_before), []
        for event in day.events:
            if type(event.data) in KINDS:
                positions += [one.position for one in await doubts(event, worlds)]
            worlds.take(event, event)
        return positions

    return asyncio.run(found())


def second_caution() -> tuple[Scenario, int, int]:
    """p1 is cautioned in two games of his rotation and sits out between them: the second ejects him. He asks for his entry back."""
    day = open_park()
    play(day, "g1", 10, "p1", "p2")
    first = caution(day, 12, "c1")
    call(day.at(30), "g2", "p1", "p2")
    day.when(games.StartGame(game="g2"))
    day.when(games.StartGame(game="g2", without=("p1",)))
    day.at(45).when(games.EndGame(game="g2"))
    day.when(games.CountHeads(game="g2", counted=1))
    play(day, "g3", 60, "p1", "p2")
    second = caution(day, 65, "c2")
    day.at(80).when(registration.Refund(refund="r1", payment="pay-1", player="p1", amount_minor=2500))
    call(day.at(90), "g4", "p1", "p2")
    day.when(games.StartGame(game="g4"))
    return day, first, second


def test_without_the_first_of_two_cautions_he_is_not_ejected_but_owes_a_sit_out():
    day, first, second = second_caution()
    answer = what_if(day, first)
    assert decisions_told(answer.turned) == [
        (of(games.StartRefused, day, game="g2"), "p1", {"sitting_out"}, GRANTED),
        (of(games.GameStarted, day, game="g2"), "p1", {"sitting_out"}, GRANTED),
        (
            last(day, registration.RefundRefused),
            None,
            {"refund_forfeited", "refund_after_start"},
            {"refund_after_start"},
        ),
        (of(games.StartRefused, day, game="g4"), "p1", {"ejected"}, {"sitting_out"}),
    ]
    assert consequences_told(answer.differs) == [
        (first, "p1", "sit_outs_owed", 1, 0),
        (of(games.GameEnded, day, game="g2"), "p1", "sit_outs_served", 1, 0),
        (second, "p1", "sit_outs_owed", 0, 1),
        (second, "p1", "ejected", 1, 0),
    ]


def test_without_the_second_he_is_not_ejected_either_and_owes_nothing():
    day, _, second = second_caution()
    answer = what_if(day, second)
    assert decisions_told(answer.turned) == [
        (
            last(day, registration.RefundRefused),
            None,
            {"refund_forfeited", "refund_after_start"},
            {"refund_after_start"},
        ),
        (of(games.StartRefused, day, game="g4"), "p1", {"ejected"}, GRANTED),
    ]
    assert consequences_told(answer.differs) == [(second, "p1", "ejected", 1, 0)]


def test_where_three_cautions_eject_the_second_owes_a_sit_out():
    day, _, second = second_caution()
    three = replace(DEFAULT, version="three", discipline=DisciplineRules(cautions_to_eject=3))
    answer = what_if(day, rules=three)
    assert decisions_told(answer.turned) == [
        (
            last(day, registration.RefundRefused),
            None,
            {"refund_forfeited", "refund_after_start"},
            {"refund_after_start"},
        ),
        (of(games.StartRefused, day, game="g4"), "p1", {"ejected"}, {"sitting_out"}),
    ]
    assert consequences_told(answer.differs) == [(second, "p1", "sit_outs_owed", 0, 1), (second, "p1", "ejected", 1, 0)]


def test_a_refund_that_the_rules_would_have_allowed_is_told():
    day = open_park()
    play(day, "g1", 10, "p1", "p2")
    day.at(30).when(registration.Refund(refund="r1", payment="pay-1", player="p1", amount_minor=2500))
    kind = replace(DEFAULT, version="kind", money=MoneyRules(refund_after_start=True))
    assert decisions_told(what_if(day, rules=kind).turned) == [
        (last(day, registration.RefundRefused), None, {"refund_after_start"}, GRANTED)
    ]


def test_a_refund_that_was_granted_would_have_been_refused_without_the_withdrawal_of_a_caution():
    day = open_park()
    caution(day, 1, "c1")
    caution(day, 11, "c2")
    day.when(discipline.VoidCaution(caution="c2", player="p1", cause="wrong_player"))
    day.at(20).when(registration.Refund(refund="r1", payment="pay-1", player="p1", amount_minor=2500))
    withdrawn = last(day, discipline.CautionVoided)
    answer = what_if(day, withdrawn)
    assert decisions_told(answer.turned) == [
        (last(day, registration.RefundGranted), None, GRANTED, {"refund_forfeited"})
    ]
    assert consequences_told(answer.differs) == [
        (withdrawn, "p1", "sit_outs_owed", 1, 0),
        (withdrawn, "p1", "ejected", 0, 1),
    ]


def test_without_a_payment_a_start_that_was_granted_would_have_been_refused_for_him_alone():
    day = open_park()
    paid = of(registration.PaymentRecorded, day, payment="pay-2")
    play(day, "g1", 10, "p1", "p2")
    answer = what_if(day, paid)
    assert decisions_told(answer.turned) == [(last(day, games.GameStarted), "p2", GRANTED, {"entry_unpaid"})]
    assert answer.differs == []


def test_without_the_check_of_a_chronograph_no_marker_that_it_measured_is_cleared():
    day = open_park()
    checked = of(velocity.ChronoChecked, day, chrono="k1")
    play(day, "g1", 10, "p1", "p2")
    started = last(day, games.GameStarted)
    assert decisions_told(what_if(day, checked).turned) == [
        (started, "p1", GRANTED, {"chrono_untrusted"}),
        (started, "p2", GRANTED, {"chrono_untrusted"}),
    ]


def test_without_an_issue_the_next_one_would_not_have_been_refused():
    day = open_park()
    day.when(equipment.IssueGear(player="p1", marker="h4"))
    issued = last(day, equipment.GearIssued)
    day.when(equipment.IssueGear(player="p2", marker="h4"))
    assert decisions_told(what_if(day, issued).turned) == [
        (last(day, equipment.IssueRefused), None, {"marker_held_by_other"}, GRANTED)
    ]


def test_whoever_would_not_have_been_registered_could_not_have_gone_on_duty():
    day = open_park()
    registered = of(duty.StaffRegistered, day, staff="aid")
    started = of(duty.DutyStarted, day, staff="aid")
    assert decisions_told(what_if(day, registered).turned) == [(started, None, GRANTED, {"unknown_subject"})]


def test_without_the_referee_a_start_would_have_been_refused_for_the_field_itself():
    day = open_park()
    referee = of(duty.DutyStarted, day, staff="ref-birch")
    play(day, "g1", 10, "p1", "p2")
    assert decisions_told(what_if(day, referee).turned) == [
        (last(day, games.GameStarted), None, GRANTED, {"too_few_referees"})
    ]


def test_a_player_turned_back_at_the_gate_would_have_been_let_in_without_his_caution():
    day = open_park()
    call(day, "g1", "p2", format="respawn")
    day.when(games.StartGame(game="g1"))
    cautioned = caution(day, 5, "c1")
    day.when(games.AdmitPlayer(player="p1", field="birch", game="g1", colour="red"))
    assert decisions_told(what_if(day, cautioned).turned) == [
        (last(day, games.AdmissionRefused), None, {"sitting_out"}, GRANTED)
    ]


def test_a_player_who_was_let_in_would_have_been_turned_back_where_one_caution_ejects():
    day = open_park()
    call(day, "g1", "p2", format="respawn")
    day.when(games.StartGame(game="g1"))
    cautioned = caution(day, 5, "c1")
    day.when(discipline.VoidCaution(caution="c1", player="p1", cause="wrong_player"))
    day.when(games.AdmitPlayer(player="p1", field="birch", game="g1", colour="red"))
    withdrawn = last(day, discipline.CautionVoided)
    answer = what_if(day, withdrawn)
    assert decisions_told(answer.turned) == [(last(day, games.PlayerAdmitted), None, GRANTED, {"sitting_out"})]
    one = replace(DEFAULT, version="one", discipline=DisciplineRules(cautions_to_eject=1))
    answer = what_if(day, rules=one)
    assert answer.turned == [], "it had been withdrawn by then"
    assert consequences_told(answer.differs) == [
        (cautioned, "p1", "sit_outs_owed", 1, 0),
        (cautioned, "p1", "ejected", 0, 1),
    ]


def test_a_caution_that_was_withdrawn_stood_a_player_down_until_then_and_did_nothing_more():
    day = open_park()
    first = caution(day, 10, "c1")
    again = caution(day, 10.2, "c2")
    day.at(16).when(discipline.VoidCaution(caution="c2", player="p1", cause="recorded_twice"))
    call(day.at(20), "g1", "p1", "p2")
    day.when(games.StartGame(game="g1"))
    answer = what_if(day, again)
    assert answer.turned == []
    assert consequences_told(answer.differs) == [(again, "p1", "stood_down", 1, 0)]
    assert decisions_told(what_if(day, first).turned) == [
        (last(day, games.StartRefused), "p1", {"sitting_out"}, GRANTED)
    ]


def test_with_a_caution_by_number_goes_the_word_on_whom_it_was_about():
    day = open_park()
    play(day, "g1", 10, "p1", "p2")
    day.at(12).when(
        discipline.Caution(caution="c1", violation="wiping", field="birch", game="g1", colour="red", armband=1)
    )
    recorded = last(day, discipline.CautionRecorded)
    day.at(14).when(discipline.ResolveCaution(caution="c1", player="p1"))
    named = last(day, discipline.CautionResolved)
    call(day.at(30), "g2", "p1", "p2")
    day.when(games.StartGame(game="g2"))
    answer = what_if(day, recorded)
    assert answer.void == {recorded, named}
    assert decisions_told(answer.turned) == [(last(day, games.StartRefused), "p1", {"sitting_out"}, GRANTED)]


def test_a_decision_that_is_left_out_itself_is_not_told():
    day = open_park()
    paid = of(registration.PaymentRecorded, day, payment="pay-2")
    play(day, "g1", 10, "p1", "p2")
    assert what_if(day, paid, last(day, games.GameStarted)).turned == []


def test_whom_a_refused_start_left_out_is_not_among_those_who_stopped_it():
    day = open_park()
    caution(day, 5, "c1", player="p1")
    unfit = len(day.events) + 1
    day.when(incidents.RecordUnfit(player="p2", cause="medical"))
    call(day.at(10), "g1", "p1", "p2")
    day.when(games.StartGame(game="g1", without=("p1",)))
    refused = last(day, games.StartRefused)
    assert [one.player for one in day.events[refused - 1].data.offenders] == ["p2"]
    assert doubtful(day) == []
    assert decisions_told(what_if(day, unfit).turned) == [(refused, "p2", {"unfit"}, GRANTED)]


def test_a_refund_that_a_manager_asked_for_is_taken_for_his_again():
    day = open_park()
    play(day, "g1", 10, "p1", "p2")
    refund = registration.Refund(refund="r1", payment="pay-1", player="p1", amount_minor=9900, override="goodwill")
    day.at(30).when(refund)
    refused = last(day, registration.RefundRefused)
    assert [one.code for one in day.events[refused - 1].data.reasons] == ["refund_exceeds_payment"]
    day.when(replace(refund, amount_minor=2500))
    assert doubtful(day) == []


def test_a_caution_weighs_what_the_other_catalogue_says():
    day = open_park()
    cautioned = caution(day, 10, "c1")
    stern = Violation(code="wiping", weight=2, title="Wiped off a hit")
    rules = replace(DEFAULT, version="stern", discipline=DisciplineRules(catalogue=(stern,)))
    assert consequences_told(what_if(day, rules=rules).differs) == [
        (cautioned, "p1", "sit_outs_owed", 1, 0),
        (cautioned, "p1", "stood_down", 0, 1),
    ]


def test_a_game_that_would_have_been_too_short_serves_no_sit_out():
    day = open_park()
    caution(day, 5, "c1")
    play(day, "g1", 10, "p2")
    ended = last(day, games.GameEnded)
    longer = replace(DEFAULT, version="longer", games=GameRules(full_minutes=20))
    assert consequences_told(what_if(day, rules=longer).differs) == [
        (ended, "p1", "sit_outs_owed", 0, 1),
        (ended, "p1", "sit_outs_served", 1, 0),
    ]


def test_minutes_of_a_continuous_game_are_counted_by_the_other_rules():
    day = open_park()
    call(day, "g1", "p2", format="continuous", minutes=120)
    day.when(games.StartGame(game="g1"))
    caution(day, 5, "c1")
    day.at(30).when(games.AdmitPlayer(player="p1", field="birch", game="g1", colour="red"))
    longer = replace(DEFAULT, version="longer", games=GameRules(continuous_sit_out_minutes=40))
    assert decisions_told(what_if(day, rules=longer).turned) == [
        (last(day, games.PlayerAdmitted), None, GRANTED, {"sitting_out"})
    ]


def test_without_the_rotation_that_many_were_put_into_its_game_serves_nobody():
    day = open_park()
    day.when(registration.AssignRotation(rotation="r9", field="birch", players=PLAYERS))
    assigned = last(day, registration.RotationAssigned)
    caution(day, 5, "c1")
    call(day.at(10), "g1", "p2", rotation="r9")
    day.when(games.StartGame(game="g1"))
    day.at(25).when(games.EndGame(game="g1"))
    ended = last(day, games.GameEnded)
    assert consequences_told(what_if(day, assigned).differs) == [
        (ended, "p1", "sit_outs_owed", 0, 1),
        (ended, "p1", "sit_outs_served", 1, 0),
    ]


def test_rules_that_say_the_same_under_another_name_change_nothing():
    day, _, _ = second_caution()
    answer = what_if(day, rules=replace(DEFAULT, version="renamed"))
    assert (answer.turned, answer.differs) == ([], [])


COMMANDS = st.lists(
    st.tuples(
        st.one_of(
            FACTS,
            REQUESTS,
            GATE,
            SET_UPS,
            st.builds(
                discipline.Caution,
                caution=st.sampled_from([f"c{number}" for number in range(1, 7)]),
                violation=st.sampled_from(VIOLATIONS),
                player=st.sampled_from(PLAYERS),
            ),
            st.builds(
                lambda game, players: games.CallGame(
                    game=game,
                    field="birch",
                    rotation="r1",
                    entrants=tuple(games.Entrant(player=one, colour="red") for one in players),
                ),
                st.sampled_from(GAMES),
                st.lists(st.sampled_from(PLAYERS), min_size=1, max_size=4, unique=True),
            ),
        ),
        st.integers(min_value=0, max_value=12),
        LATE,
    ),
    max_size=40,
)
OTHERS: list[Rules] = [
    replace(DEFAULT, version="three", discipline=DisciplineRules(cautions_to_eject=3)),
    replace(DEFAULT, version="one", discipline=DisciplineRules(cautions_to_eject=1, one_act_minutes=0)),
    replace(DEFAULT, version="kind", money=MoneyRules(refund_after_start=True)),
    replace(DEFAULT, version="long", games=GameRules(full_minutes=12, first_aiders=2)),
    replace(
        DEFAULT, version="law", velocity=VelocityRules(law=Limit(energy_j=10), impossible_fps=280, comparison="<=")
    ),
    replace(DEFAULT, version="charts", velocity=VelocityRules(no_shot_fps=260, chrono=ChronoRules(bias_fps=0.5))),
]


def happen(day: Scenario, commands: list[tuple[Command, int, timedelta]]) -> None:
    """Whatever of it can be recorded is, each some minutes after the one before, facts perhaps late."""
    for command, minutes, late in commands:
        day.now += timedelta(minutes=minutes)
        told = replace(command, occurred_at=day.now - late) if command.FACT and late else command
        try:
            day.when(told)
        except Refused:
            continue


RANDOM_DAYS = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


@RANDOM_DAYS
@given(COMMANDS, st.data())
def test_a_void_tells_what_folding_everything_anew_tells(commands, data):
    day = open_park()
    happen(day, commands)
    void = data.draw(st.integers(min_value=1, max_value=len(day.events)))
    assert decisions_told(what_if(day, void).turned) == by_brute_force(day, void)


@RANDOM_DAYS
@given(COMMANDS, st.sampled_from(OTHERS))
def test_other_rules_tell_what_folding_everything_anew_tells(commands, rules):
    day = open_park()
    happen(day, commands)
    assert decisions_told(what_if(day, rules=rules).turned) == by_brute_force(day, rules=rules)


@RANDOM_DAYS
@given(COMMANDS)
def test_every_decision_follows_from_what_was_recorded_and_nothing_is_told_otherwise_under_the_same_rules(commands):
    day = open_park()
    happen(day, commands)
    assert all(told is event for told, event in zip(told_anew(day.events, DEFAULT), day.events, strict=True))
    assert doubtful(day) == []


@RANDOM_DAYS
@given(COMMANDS)
def test_an_event_that_no_decision_rests_on_changes_nothing(commands):
    day = open_park()
    happen(day, commands)
    day.given(registration.GroupRegistered(group="heron", size=4, private_session=False))
    idle = len(day.events)
    happen(day, commands[:10])
    answer = what_if(day, idle)
    assert (answer.turned, answer.differs) == ([], [])
