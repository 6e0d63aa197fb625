"""The board's status: what the yard reads off it is what the record says."""

from datetime import timedelta

import msgspec
import pytest

from contracts.board import Armband, Team
from contracts.discipline import Caution, ResolveCaution, VoidCaution
from contracts.duty import EndDuty, StartDuty
from contracts.games import (
    AdmitPlayer,
    AskHold,
    BriefGame,
    CallGame,
    ConfirmHold,
    CountHeads,
    EndGame,
    Entrant,
    InspectField,
    LiftHold,
    RecordOut,
    StartGame,
    SweepField,
)
from contracts.incidents import RecordUnfit
from contracts.registration import RecordLeft, RegisterPerson, RegisterPlayer
from contracts.velocity import AdjustChrono, ChangeSetUp, SpotCheckMarker, TestMarker
from services.board.notes import NOTES
from tests.unit.board_view import open_park, shown
from tests.unit.instruments import agrees, checks
from tests.unit.scenario import NINE
from tests.unit.test_clearance import called, played, ready_player


@pytest.fixture
def park():
    return open_park()


def birch(park):
    return shown(park).fields["birch"]


def arrives(park, number, age_band=18, part="player"):
    park.when(RegisterPerson(person=f"h{number}", age_band=age_band))
    park.when(
        RegisterPlayer(player=f"p{number}", person=f"h{number}", part=part, day_pass=f"pass{number}", armband=number)
    )


def kinds(park):
    return [alert.kind for alert in shown(park).alerts]


def said(park):
    return [alert.sentence for alert in shown(park).alerts]


def live(park, *players):
    called(park, "g1", *players)
    park.when(StartGame(game="g1"))
    return park


def test_a_field_goes_from_open_over_called_and_briefed_to_live_and_is_counted_before_it_is_open_again(park):
    seen = [birch(park).state]
    called(park, "g1", "p1", "p2")
    seen.append(birch(park).state)
    park.when(BriefGame(game="g1"))
    seen.append(birch(park).state)
    park.when(StartGame(game="g1"))
    seen.append(birch(park).state)
    park.at(20).when(EndGame(game="g1"))
    seen.append(birch(park).state)
    park.when(CountHeads(game="g1", counted=2))
    seen.append(birch(park).state)
    assert seen == ["open", "called", "briefed", "live", "counting", "open"]


def test_teams_whose_list_was_changed_after_the_briefing_are_not_briefed(park):
    called(park, "g1", "p1", "p2")
    park.when(BriefGame(game="g1"))
    called(park.at(11), "g1", "p1", "p3")
    assert birch(park).state == "called"
    assert not birch(park).next.briefed


def test_a_field_that_nobody_inspected_today_is_closed_and_says_why(park):
    fern = shown(park).fields["fern"]
    assert (fern.state, fern.why) == ("closed", ("This field has not been inspected today.",))
    park.when(InspectField(field="fern", passed=True))
    assert shown(park).fields["fern"].state == "open"


def test_a_hold_is_asked_until_the_referee_confirms_it_and_stands_until_somebody_lifts_it(park):
    live(park, "p1", "p2").when(AskHold(hold="h", cause="weather"))
    assert (birch(park).state, kinds(park)) == ("hold asked", ["hold_not_confirmed", "hold_not_confirmed"])
    park.at(12).when(ConfirmHold(hold="h", field="birch"))
    assert (birch(park).state, kinds(park)) == ("held", ["hold_not_confirmed"])
    (hold,) = birch(park).holds
    assert (hold.hold, hold.cause, hold.asked_at, hold.confirmed_at) == (
        "h",
        "weather",
        NINE + timedelta(minutes=10),
        NINE + timedelta(minutes=12),
    )
    park.at(15).when(LiftHold(hold="h", field="birch", swept=True))
    assert (birch(park).state, birch(park).holds) == ("live", ())


def test_the_clock_is_facts_that_do_not_change_while_time_passes(park):
    live(park, "p1", "p2")
    before = birch(park.at(13)).clock
    assert birch(park.at(19)).clock == before
    assert (before.started_at, before.minutes, before.held_seconds) == (NINE + timedelta(minutes=10), 15, 0)
    assert before.deadline == NINE + timedelta(minutes=25)


def test_a_hold_stops_the_clock_and_moves_the_deadline_by_its_length(park):
    live(park, "p1", "p2")
    park.at(14).when(AskHold(hold="h", field="birch"))
    stopped = birch(park.at(16)).clock
    assert (stopped.stopped_at, stopped.held_seconds, stopped.deadline) == (NINE + timedelta(minutes=14), 0, None)
    park.at(17).when(LiftHold(hold="h", field="birch", swept=True))
    running = birch(park.at(18)).clock
    assert (running.stopped_at, running.held_seconds) == (None, 180)
    assert running.deadline == NINE + timedelta(minutes=28)


def test_a_hold_that_began_before_the_game_was_called_takes_nothing_from_its_clock(park):
    park.when(AskHold(hold="h", field="birch"))
    park.at(12).when(LiftHold(hold="h", field="birch", swept=True))
    live(park.at(13), "p1")
    assert birch(park.at(14)).clock.held_seconds == 0


def test_teams_are_counted_in_and_out_by_colour(park):
    entrants = (
        Entrant(player="p1", colour="red"),
        Entrant(player="p2", colour="blue"),
        Entrant(player="p3", colour="red"),
    )
    park.when(CallGame(game="g1", field="birch", entrants=entrants))
    assert birch(park).next.teams == {"red": 2, "blue": 1}
    park.when(StartGame(game="g1"))
    park.at(12).when(RecordOut(player="p3", field="birch", cause="eliminated"))
    assert birch(park).teams == {"red": Team(playing=1, out=1), "blue": Team(playing=1, out=0)}


def test_who_does_not_play_is_counted_apart(park):
    ready_player(park, 4)
    live(park, "p1")
    arrives(park, 9, part="photographer")
    park.when(AdmitPlayer(player="p9", field="birch"))
    assert birch(park).non_players == 0, "who is not cleared is not let in"


def test_the_next_game_says_who_is_not_ready_and_why_and_where_that_is_cleared(park):
    arrives(park, 7)
    arrives(park, 8)
    called(park, "g1", "p1", "p8", "p7")
    following = birch(park).next
    assert following.ready == 1
    wait = following.waits_for["entry_unpaid"]
    assert wait.where == "desk"
    assert wait.who == (Armband(number=7, colour="red"), Armband(number=8, colour="red"))


def test_the_next_game_says_what_the_field_itself_lacks(park):
    called(park, "g1", "p1")
    assert birch(park).next.waits_for == {}
    park.when(EndDuty(staff="s1"))
    park.when(InspectField(field="birch", passed=False))
    waits = birch(park).next.waits_for
    assert {code: (wait.where, wait.who) for code, wait in waits.items()} == {
        "field_failed_inspection": ("head referee", ()),
        "too_few_referees": ("head referee", ()),
    }


def test_a_player_who_did_not_come_today_is_not_ready(park):
    called(park, "g1", "p1")
    park.at(60 * 24)
    assert birch(park).next.waits_for["unknown_player"].who == (Armband(number=1, colour="red"),)


def test_everybody_registered_is_cleared_or_not_or_on_a_field_or_gone(park):
    arrives(park, 7, age_band=12)
    ready_player(park, 4)
    live(park, "p1")
    park.when(RecordLeft(player="p2"))
    players = shown(park).players
    assert (players.registered, players.cleared, players.not_cleared, players.on_field, players.gone_home) == (
        5,
        2,
        1,
        1,
        1,
    )
    assert players.minors_here == 1
    assert players.reasons["consent_missing"] == 1


def test_only_players_of_the_day_count(park):
    assert shown(park).players.registered == 3
    tomorrow = shown(park.at(60 * 24))
    assert (tomorrow.players.registered, tomorrow.opened) == (0, False)


def test_a_player_queues_where_his_first_missing_thing_is_cleared(park):
    arrives(park, 7)
    ready_player(park, 4)
    park.when(ChangeSetUp(marker="m4", change="barrel"))
    stations = shown(park).stations
    assert {name: station.waiting for name, station in stations.items() if station.waiting} == {
        "desk": 1,
        "chronograph": 1,
    }


def test_nobody_who_sits_out_or_plays_queues_anywhere(park):
    live(park, "p1")
    park.when(Caution(caution="c", violation="wiping", player="p2"))
    assert sum(station.waiting for station in shown(park).stations.values()) == 0
    assert shown(park).players.sitting_out == 1


def test_a_station_shows_what_it_recorded_last_by_when_it_happened(park):
    park.when(
        TestMarker(test="t9", marker="m1", chrono="c1", readings_fps=(270, 275)),
    )
    last = shown(park).stations["chronograph"].last
    assert (last.what, last.at) == ("m1: 275 ft/s fastest of 2", NINE + timedelta(minutes=10))
    late = TestMarker(test="t8", marker="m2", chrono="c1", readings_fps=(260,), occurred_at=NINE + timedelta(minutes=5))
    park.at(11).when(late)
    assert shown(park).stations["chronograph"].last == last


def test_a_late_caution_for_somebody_on_a_field_raises_an_alert_that_names_his_armband(park):
    live(park, "p1", "p2")
    assert kinds(park) == []
    park.at(20).when(
        Caution(caution="c", violation="physical-contact", player="p1", occurred_at=NINE + timedelta(minutes=9))
    )
    (alert,) = shown(park).alerts
    assert (alert.kind, alert.field) == ("not_cleared_on_field", "birch")
    assert alert.sentence == "Red 1 on Birch is no longer cleared. Take off the field, to head referee."


def test_a_marker_over_the_stop_limit_on_a_field_raises_an_alert_until_it_is_off_or_measured_anew(park):
    live(park, "p1")
    park.at(12).when(SpotCheckMarker(check="s", marker="m1", field="birch", speed_fps=299))
    assert kinds(park) == [], "over the bench limit only"
    park.at(13).when(SpotCheckMarker(check="s2", marker="m1", field="birch", speed_fps=305))
    (alert,) = shown(park).alerts
    assert alert.kind == "over_stop_limit"
    assert alert.sentence.startswith("Red 1 on Birch: marker at 305 ft/s, stop limit 300.")
    park.at(14).when(RecordOut(player="p1", field="birch", cause="walked_off"))
    assert kinds(park) == []


def test_a_chronograph_out_of_control_is_an_alert_with_how_many_it_measured_and_who_carries_one_on_a_field(park):
    live(park, "p1", "p2")
    park.when(TestMarker(test="t9", marker="m2", chrono="c1", readings_fps=(270, 271, 272)))
    checks(park.at(20), -4, -4, -4)
    (alert,) = shown(park).alerts
    assert (alert.kind, alert.since) == ("chrono_closed", NINE + timedelta(minutes=20))
    assert alert.sentence == (
        "Chronograph c1 is out of control: measure on another. Markers measured on it since its last good check: 3. "
        "Not cleared any more, on Birch: red 1. Cover on, off the field, retest."
    )


def test_the_alert_counts_what_was_measured_since_the_last_good_check_and_not_before_it(park):
    agrees(park.at(15))
    park.at(16).when(TestMarker(test="t9", marker="m2", chrono="c1", readings_fps=(270, 271, 272)))
    checks(park.at(20), -4, -4, -4)
    checks(park.at(21), -4, -4, -4)
    assert said(park) == [
        "Chronograph c1 is out of control: measure on another. Markers measured on it since its last good check: 1."
    ]


def test_what_is_told_late_of_a_chronograph_is_counted_where_it_happened(park):
    park.at(16).when(TestMarker(test="t9", marker="m2", chrono="c1", readings_fps=(270, 271, 272)))
    checks(park.at(20), -4, -4, -4)
    checks(park.at(25), 0, 0, 0, occurred_at=NINE + timedelta(minutes=12))
    assert said(park)[0].endswith("since its last good check: 1.")
    for test, marker, minute in (("t10", "m1", 11), ("t11", "m3", 15), ("t12", "m3", 13)):
        at = NINE + timedelta(minutes=minute)
        park.when(TestMarker(test=test, marker=marker, chrono="c1", readings_fps=(270, 271, 272), occurred_at=at))
    checks(park.at(26), 0, 0, 0, occurred_at=NINE + timedelta(minutes=14))
    assert said(park)[0].endswith("since its last good check: 2.")


def test_the_alert_stands_until_it_is_open_again_and_nobody_on_a_field_carries_what_it_measured(park):
    live(park, "p1", "p2")
    checks(park.at(20), -4, -4, -4)
    park.at(21).when(RecordOut(player="p2", field="birch", cause="walked_off"))
    park.when(AdjustChrono(chrono="c1", work="settings"))
    agrees(park.at(22))
    assert said(park) == [
        "Measured on chronograph c1 and not cleared any more, on Birch: red 1. Cover on, off the field, retest."
    ]
    park.at(23).when(RecordOut(player="p1", field="birch", cause="walked_off"))
    assert kinds(park) == []


def test_work_on_a_chronograph_that_was_not_checked_before_it_is_an_alert_for_who_is_on_a_field(park):
    live(park, "p1", "p2")
    park.at(20).when(AdjustChrono(chrono="c1", work="battery"))
    assert said(park) == [
        "Measured on chronograph c1 and not cleared any more, on Birch: red 1, red 2. Cover on, off the field, retest."
    ]


def test_a_chronograph_in_use_whose_check_is_overdue_is_an_alert_and_one_that_was_not_used_today_is_not(park):
    assert kinds(park.at(240)) == []
    (alert,) = shown(park.at(241)).alerts
    assert (alert.kind, alert.since) == ("chrono_overdue", NINE + timedelta(minutes=240))
    agrees(park)
    assert kinds(park) == []
    checks(park, -4, -4, -4)
    assert kinds(park) == ["chrono_closed"]
    tomorrow = park.at(24 * 60)
    assert not {"chrono_closed", "chrono_overdue"} & set(kinds(tomorrow))


def test_an_open_head_count_names_who_is_missing_and_a_search_goes_on_after_the_sweep(park):
    live(park, "p1", "p2")
    park.at(26).when(EndGame(game="g1"))
    assert (birch(park).count.counted, birch(park).count.missing) == (False, ())
    park.when(CountHeads(game="g1", counted=1, accounted=("p1",)))
    park.when(CountHeads(game="g1", counted=0))
    count = birch(park).count
    assert (count.counted, count.missing) == (True, (Armband(number=2, colour="red"),))
    assert (count.short, said(park)) == (1, ["Missing on Birch: red 2. Keep it shut."])
    assert kinds(park) == ["heads_missing"]
    park.at(30).when(SweepField(game="g1", search_open=True))
    assert (birch(park).state, kinds(park)) == ("open", ["search_open"])
    park.when(RecordLeft(player="p2"))
    assert kinds(park) == []


def test_where_one_of_two_is_missing_the_board_says_so_and_neither_is_cleared_until_he_is_accounted_for(park):
    live(park, "p1", "p2")
    park.at(26).when(EndGame(game="g1"))
    assert shown(park).players.cleared == 3
    park.when(CountHeads(game="g1", counted=1))
    assert (birch(park).count.short, len(birch(park).count.missing)) == (1, 2)
    assert said(park) == ["1 missing on Birch, one of: red 1, red 2. Keep it shut."]
    players = shown(park).players
    assert (players.cleared, players.not_cleared, players.reasons) == (1, 2, {"heads_missing": 2})
    park.at(27).when(SweepField(game="g1", search_open=True))
    assert said(park) == ["Search open for 1, one of: red 1, red 2; last on Birch."]
    assert shown(park).players.cleared == 1
    park.at(28).when(CountHeads(game="g1", counted=1, accounted=("p2",)))
    assert (said(park), shown(park).players.cleared) == ([], 3)


def test_a_caution_that_names_nobody_is_an_alert_with_its_id_until_it_is_resolved_or_withdrawn(park):
    live(park, "p1", "p2")
    for name, number in (("c1", 1), ("c2", 40)):
        park.at(12).when(Caution(caution=name, violation="wiping", game="g1", colour="red", armband=number))
    assert kinds(park) == ["unresolved_caution", "unresolved_caution"]
    first, second = shown(park).alerts
    assert first.sentence == "Caution c1: red 1 on Birch: staging says who it was."
    assert second.sentence == "Caution c2: red 40 on Birch: staging says who it was."
    assert (first.field, first.since) == ("birch", NINE + timedelta(minutes=12))
    park.at(13).when(ResolveCaution(caution="c1", player="p1"))
    assert second.sentence in said(park)
    assert first.sentence not in said(park)
    park.at(14).when(VoidCaution(caution="c2", cause="entered_in_error"))
    assert "unresolved_caution" not in kinds(park)


def test_a_refused_duty_is_told_by_its_post_and_not_as_if_somebody_had_refused_it(park):
    park.when(StartDuty(staff="s2", post="referee", field="fern"))
    assert shown(park).stations["manager"].last.what == "duty refused: referee"


def test_no_first_aider_is_an_alert_once_the_day_is_open(park):
    assert kinds(park) == []
    park.when(EndDuty(staff="s2"))
    assert kinds(park) == ["no_first_aider"]


@pytest.mark.parametrize("cause", ["medical", "intoxicated", "injured"])
def test_the_wall_names_nobody_and_tells_nobodys_ailment(park, cause):
    arrives(park, 7)
    called(park, "g1", "p1", "p2", "p7")
    park.when(RecordUnfit(player="p2", cause=cause))
    told = msgspec.json.encode(shown(park)).decode()
    assert '"see_first_aid"' in told
    assert "unfit" not in told
    assert cause not in told.replace("see_first_aid", "")
    for name in ("p1", "p2", "p7", "h1", "h2", "h7", "pass1"):
        assert f'"{name}"' not in told
        assert f" {name}" not in told


def test_nothing_in_a_status_is_null_so_a_merge_patch_can_say_it_all(park):
    live(park, "p1", "p2").when(AskHold(hold="h"))
    called(park, "g2", "p3")
    assert b"null" not in msgspec.json.encode(shown(park))


def test_a_day_of_games_replays_to_the_same_notes_wherever_the_batches_are_cut(park):
    played(park, "g1", 12, "p1", "p2")
    played(park, "g2", 40, "p2", "p3")
    at_once, one_by_one = {}, {}
    NOTES.apply(park.events, at_once)
    for event in park.events:
        NOTES.apply([event], one_by_one)
    assert at_once == one_by_one
    for tag, state in at_once.items():
        assert NOTES.decode(tag, NOTES.encode(tag, state)) == state
