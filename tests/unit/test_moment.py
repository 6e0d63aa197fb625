"""Any moment on both axes: the gate's answer on what was recorded, how it was, and what lies between the two.

Two axes, when a thing was and when the record learned of it, are common practice in bitemporal records; from memory, no source. Which
corrections reach back is a decision of ours, with its reason beside each.
"""

import asyncio
from datetime import datetime, timedelta
from typing import Any

import pytest

from contracts import discipline, equipment, games, incidents, park, registration, velocity
from contracts.catalogue import TYPES
from contracts.moments import ClearanceAt, StatusAt
from contracts.problems import InvalidParameter, PositionAhead
from services.audit.asking import axes
from services.audit.moments.corrections import CORRECTIONS, REACHING, as_happened, effective
from services.audit.moments.moment import clearance_at
from services.audit.moments.status import status_at
from tests.unit.instruments import agrees, checks
from tests.unit.past_log import PastLog, leaf_of
from tests.unit.scenario import NINE, Scenario
from tests.unit.small_park import HANDLERS, opening, string

TODAY = NINE.date()


def open_park() -> Scenario:
    day = Scenario(HANDLERS.values())
    for command in opening():
        day.when(command)
    return day


def clock(minutes: float) -> datetime:
    return NINE + timedelta(minutes=minutes)


def past(day: Scenario) -> Any:
    return PastLog("test", day.events, [leaf_of(event) for event in day.events])


def asked(day: Scenario, player: str = "p1", field: str = "birch", **query: str) -> ClearanceAt:
    async def answer() -> ClearanceAt:
        return await clearance_at(await axes(past(day), query, day.now), "test", player, field)

    return asyncio.run(answer())


def at(day: Scenario, minute: float, player: str = "p1") -> ClearanceAt:
    """A player's clearance for birch at a minute past nine."""
    return asked(day, player, as_happened=clock(minute).isoformat())


def codes(answer: ClearanceAt) -> tuple[list[str], list[str]]:
    return ([one.code for one in answer.as_recorded.reasons], [one.code for one in answer.as_happened.reasons])


def late(day: Scenario, told_at: float, happened: float, command: Any) -> int:
    """A fact is told at a minute of what happened at an earlier one; its position."""
    day.at(told_at).when(type(command)(**{**_fields(command), "occurred_at": clock(happened)}))
    return len(day.events)


def _fields(command: Any) -> dict[str, Any]:
    return {name: getattr(command, name) for name in command.__struct_fields__}


def caution(name: str, **more: Any) -> discipline.Caution:
    return discipline.Caution(**{"caution": name, "violation": "wiping", "player": "p1"} | more)


def test_the_gate_was_right_on_what_was_recorded_and_the_late_caution_is_named():
    day = open_park()
    told = late(day, 55, 40, caution("c1"))
    answer = at(day, 50)
    assert codes(answer) == ([], ["sitting_out"])
    assert (answer.as_recorded.cleared, answer.as_happened.cleared, answer.differ) == (True, False, True)
    assert [one.position for one in answer.because] == [told]
    assert answer.difference == (
        f"At 09:50 the gate was right on what was recorded (cleared); the caution of 09:40 (position {told}) arrived at 09:55. "
        "As it happened: not cleared, sitting out."
    )


def test_before_it_happened_and_after_it_was_told_both_say_the_same():
    day = open_park()
    late(day, 55, 40, caution("c1"))
    for minute, expected in ((39, []), (56, ["sitting_out"])):
        answer = at(day, minute)
        assert codes(answer) == (expected, expected)
        assert (answer.differ, answer.because) == (False, ())


def test_only_what_makes_the_difference_is_named():
    day = open_park()
    late(day, 54, 40, velocity.SpotCheckMarker(check="s", marker="own1", field="birch", speed_fps=100))
    told = late(day, 55, 40, caution("c1"))
    late(day, 57, 40, incidents.RecordUnfit(player="p2", cause="medical"))
    assert [one.position for one in at(day, 50).because] == [told]


def test_two_late_cautions_of_which_either_is_enough_are_both_named():
    day = open_park()
    told = [
        late(day, 55, 40, registration.RecordLeft(player="p1")),
        late(day, 56, 41, registration.RecordLeft(player="p1")),
    ]
    answer = at(day, 50)
    assert codes(answer) == ([], ["left_park"])
    assert [one.position for one in answer.because] == told


def test_what_was_not_known_yet_by_a_point_does_not_count_there():
    day = open_park()
    told = late(day, 55, 40, caution("c1"))
    fifty = clock(50).isoformat()
    assert codes(asked(day, as_happened=fifty, as_known=f"1:{told - 1}")) == ([], [])
    assert codes(asked(day, as_happened=fifty, as_known=f"1:{told}")) == ([], ["sitting_out"])
    assert codes(asked(day, as_happened=fifty, as_recorded=f"1:{told}")) == (["sitting_out"], ["sitting_out"])


def test_a_point_by_position_is_asked_for_the_moment_at_which_it_was_recorded():
    day = open_park()
    told = late(day, 55, 40, caution("c1"))
    day.at(90).when(caution("c2"))
    answer = asked(day, as_recorded=f"1:{told}")
    assert answer.as_recorded.basis.now == answer.as_happened.basis.now == clock(55)
    assert answer.as_recorded.basis.position == told


def test_without_any_point_it_is_now():
    day = open_park()
    day.at(10).when(caution("c1"))
    answer = asked(day.at(20))
    assert codes(answer) == (["sitting_out"], ["sitting_out"])
    assert answer.as_recorded.basis.now == clock(20)


@pytest.mark.parametrize("point", ["1:9999", "2:1", "1:0"])
def test_a_position_that_the_log_does_not_hold_is_refused(point):
    with pytest.raises(PositionAhead, match="holds no such position"):
        asked(open_park(), as_recorded=point)


@pytest.mark.parametrize("point", ["yesterday", "1:", "2026-05-09", "2026-13-09T10:00:00Z", "1:2T"])
def test_what_is_no_point_is_refused(point):
    with pytest.raises(InvalidParameter):
        asked(open_park(), as_recorded=point)


def test_a_withdrawn_caution_reaches_back_to_the_caution():
    day = open_park()
    day.at(10).when(caution("c1"))
    day.at(30).when(discipline.VoidCaution(caution="c1", player="p1", cause="wrong_player"))
    withdrawn = len(day.events)
    answer = at(day, 20)
    assert codes(answer) == (["sitting_out"], [])
    assert [(one.position, one.effective_at) for one in answer.because] == [(withdrawn, clock(10))]
    assert "the withdrawal of a caution of 09:30" in answer.difference
    assert "reaches back to 09:10" in answer.difference
    assert codes(at(day, 9)) == ([], [])


def test_an_appeal_that_was_upheld_reaches_back_and_one_turned_down_changes_nothing():
    for upheld, expected in ((True, []), (False, ["sitting_out"])):
        day = open_park()
        day.at(10).when(caution("c1"))
        day.when(discipline.RaiseAppeal(appeal="a1", caution="c1", player="p1"))
        day.at(30).when(discipline.DecideAppeal(appeal="a1", caution="c1", player="p1", upheld=upheld))
        assert codes(at(day, 20)) == (["sitting_out"], expected)


def test_whom_a_caution_was_about_was_so_when_it_happened():
    day = open_park()
    entrants = (games.Entrant(player="p2", colour="red"),)
    day.at(5).when(games.CallGame(game="g1", field="birch", rotation="r1", entrants=entrants))
    day.at(10).when(caution("c1", player=None, game="g1", colour="red", armband=1))
    day.at(30).when(discipline.ResolveCaution(caution="c1", player="p1"))
    assert codes(at(day, 20)) == ([], ["sitting_out"])
    assert codes(at(day, 9)) == ([], [])


def test_a_separate_act_was_one_when_it_was_done():
    day = open_park()
    day.at(10).when(caution("c1"))
    day.at(11).when(caution("c2"))
    day.at(30).when(discipline.RuleSeparateAct(caution="c2", player="p1"))
    assert codes(at(day, 20)) == (["stood_down", "sitting_out"], ["ejected"])


def test_an_ejection_holds_from_its_confirmation_and_a_reinstatement_from_then():
    day = open_park()
    day.at(10).when(caution("c1", violation="physical-contact"))
    day.at(30).when(discipline.ConfirmEjection(player="p1", caution="c1"))
    day.at(50).when(discipline.ReinstatePlayer(player="p1"))
    assert [codes(at(day, minute)) for minute in (20, 40, 60)] == [
        (["stood_down"], ["stood_down"]),
        (["ejected"], ["ejected"]),
        ([], []),
    ]


def test_money_that_never_was_reaches_back_and_money_taken_back_does_not():
    for error, expected in (("payment_failed", ["entry_voided"]), ("charged_back", [])):
        day = open_park()
        day.at(30).when(registration.VoidPayment(payment="pay-1", error=error))
        assert codes(at(day, 20)) == ([], expected)
        assert codes(at(day, 40)) == (["entry_voided"], ["entry_voided"])


def test_a_withdrawal_of_consent_that_was_a_mistake_had_not_been():
    day = open_park()
    day.at(10).when(registration.WithdrawConsent(person="person-p3", guardian="parent"))
    day.at(30).when(registration.VoidWithdrawal(person="person-p3", guardian="parent", error="wrong_child"))
    answer = asked(day, "p3", "fern", as_happened=clock(20).isoformat())
    assert codes(answer) == (["consent_missing"], [])


def test_a_chronograph_found_out_of_control_was_last_right_at_its_good_check():
    day = open_park()
    day.at(30).when(velocity.CheckChrono(chrono="k1", good=False))
    assert codes(at(day, 20)) == ([], ["chrono_untrusted"])


def test_a_bad_check_that_is_told_late_reaches_back_to_the_good_one_that_had_happened_before_it():
    day = open_park()
    agrees(day.at(25), "k1")
    checks(day.at(30), -40, -40, -40, chrono="k1", occurred_at=clock(20))
    assert codes(at(day, 15)) == ([], ["chrono_untrusted"])
    assert codes(at(day, 28)) == ([], ["chrono_untrusted"])
    (bad,) = (one for one in day.events if isinstance(one.data, velocity.ChronoChecked) and not one.data.good)
    (opening, *_) = (one for one in day.events if isinstance(one.data, velocity.ChronoChecked))
    assert effective(bad, day.events) == opening.occurred_at


def test_work_on_a_chronograph_reaches_back_to_its_last_check():
    day = open_park()
    day.at(30).when(velocity.AdjustChrono(chrono="k1", work="battery"))
    assert codes(at(day, 20)) == ([], ["chrono_untrusted"])
    checked = open_park()
    agrees(checked.at(30), "k1")
    checked.at(31).when(velocity.AdjustChrono(chrono="k1", work="battery"))
    assert codes(at(checked, 20)) == ([], [])
    assert effective(checked.events[-1], checked.events) == clock(30)


def test_a_check_of_too_few_shots_reaches_back_to_nothing():
    day = open_park()
    checks(day.at(30), 0, 0, chrono="k1")
    assert codes(at(day, 20)) == ([], [])
    assert effective(day.events[-1], day.events) == clock(30)


def test_gear_that_was_released_had_been_out_of_use_until_then():
    day = open_park()
    day.at(10).when(equipment.QuarantineGear(marker="own1", fault="leak"))
    day.at(30).when(equipment.ReleaseGear(marker="own1"))
    day.when(string("own1", 250.0))
    assert codes(at(day, 20)) == (["marker_quarantined"], ["marker_quarantined"])


def test_told_out_of_order_the_record_is_put_in_order():
    day = open_park()
    day.at(10).when(incidents.RecordUnfit(player="p1", cause="medical"))
    day.at(20).when(incidents.DeclareFit(player="p1"))
    told = late(day, 30, 15, incidents.RecordUnfit(player="p1", cause="injured"))
    answer = at(day, 40)
    assert codes(answer) == (["unfit"], []), "whoever declared him fit had seen him after that"
    assert [one.position for one in answer.because] == [told]


def test_every_type_that_corrects_something_says_how_far_it_reaches():
    endings = ("voided", "resolved", "lifted", "released", "reinstated", "renewed", "requalified", "reissued")
    endings += ("_decided", "_ejection_confirmed", "_ruled", "_fit")
    correcting = {data for data, name in TYPES.items() if name.endswith(endings)}
    assert correcting - CORRECTIONS.keys() == set()
    assert {TYPES[data] for data in CORRECTIONS} >= set(REACHING)


def test_a_type_that_never_reaches_back_takes_effect_when_it_happened():
    day = open_park()
    day.at(10).when(caution("c1"))
    day.at(20).when(discipline.VoidCaution(caution="c1", player="p1", cause="wrong_player"))
    for event in day.events:
        reaches = effective(event, day.events) < event.occurred_at
        assert reaches == isinstance(event.data, discipline.CautionVoided)
        assert not reaches or event.type in REACHING


def test_what_is_told_late_of_an_earlier_day_is_not_forgotten_with_that_day():
    day = Scenario(HANDLERS.values())
    day.when(park.OpenDay(opened=TODAY))
    day.at(24 * 60).when(park.OpenDay(opened=TODAY + timedelta(days=1)))
    late(day, 24 * 60 + 5, 24 * 60 - 10, park.RecordWeather(temperature_c=30))
    story = [event for event in day.events if "park" in event.tags][1:]
    assert [event.position for event in as_happened(story, day.now)] == [2, 3]


def status(day: Scenario, minute: float) -> StatusAt:
    async def answer() -> StatusAt:
        log = past(day)
        return await status_at(await axes(log, {"as_happened": clock(minute).isoformat()}, day.now), log, 1)

    return asyncio.run(answer())


def test_the_wall_of_a_moment_is_shown_on_both_axes_with_what_differs():
    day = open_park()
    entrants = tuple(games.Entrant(player=one, colour="red") for one in ("p1", "p2"))
    day.at(10).when(games.CallGame(game="g1", field="birch", rotation="r1", entrants=entrants))
    day.when(games.StartGame(game="g1"))
    held = late(day, 30, 15, games.AskHold(hold="h1", field="birch", cause="injury"))
    answer = status(day, 20)
    assert (answer.as_recorded.fields["birch"].state, answer.as_happened.fields["birch"].state) == (
        "live",
        "hold asked",
    )
    assert answer.as_recorded.players.on_field == answer.as_happened.players.on_field == 2
    assert [one.position for one in answer.late] == [held]
    told = {one.where: one for one in answer.differences}
    assert told["fields.birch.state"].because == (held,)
    assert "fields.fern.state" not in told
    assert told["alerts"].as_recorded == ()
    assert [one["kind"] for one in told["alerts"].as_happened] == ["hold_not_confirmed"]


def test_the_wall_of_a_moment_knows_nobody_who_came_later():
    day = open_park()
    person = "person-late"
    day.at(40).when(registration.RegisterPerson(person=person, age_band=18))
    day.when(registration.RegisterPlayer(player="late", person=person, day_pass=f"pass-{person}", armband=99))
    for minute, expected in ((30, 4), (50, 5)):
        answer = status(day, minute)
        assert answer.as_recorded.players.registered == answer.as_happened.players.registered == expected


def test_a_wall_on_which_nothing_was_told_late_is_the_same_on_both_axes():
    day = open_park()
    late(day, 55, 40, caution("c1"))
    for minute in (30, 60):
        answer = status(day, minute)
        assert answer.differences == ()
        assert answer.as_recorded.players == answer.as_happened.players
    assert [one.where for one in status(day, 50).differences] == [
        "players.cleared", "players.not_cleared", "players.sitting_out", "players.reasons",
    ]  # fmt: skip
