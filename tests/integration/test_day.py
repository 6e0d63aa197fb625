"""The invented day, played through the HTTP API against real servers: what it tells stands in the log, and one seed gives one day."""

from datetime import timedelta
from itertools import pairwise

import msgspec
import pytest

from contracts.discipline import AppealDecided, CautionRecorded, CautionResolved, CautionVoided, EjectionConfirmed
from contracts.equipment import MarkerSwapped
from contracts.games import GameAbandoned, GameStarted, HoldAsked, HoldLifted, StartRefused, TeamsCalled
from contracts.park import FlashSeen, ThunderHeard
from contracts.registration import (
    MinorHandedOver,
    PaymentRecorded,
    PlayerLeft,
    PlayerRegistered,
    RefundGranted,
    RefundRefused,
)
from contracts.velocity import MarkerSpotChecked

pytestmark = pytest.mark.timeout(400)


@pytest.fixture(scope="module")
def events(demo_day):
    return demo_day.events


def of(events, kind, **fields):
    """The events of a kind whose data say this."""
    return [
        event
        for event in events
        if isinstance(event.data, kind) and all(getattr(event.data, name) == value for name, value in fields.items())
    ]


def only(events, kind, **fields):
    (found,) = of(events, kind, **fields)
    return found


def next_refusal(events, player, after):
    """The codes with which the first start after a position named a player."""
    for refused in of(events, StartRefused):
        for offender in refused.data.offenders:
            if refused.position > after and offender.player == player:
                return [reason.code for reason in offender.reasons]
    return []


def starts_with(events, player, after):
    return [
        one
        for one in of(events, GameStarted)
        if one.position > after and player in {entrant.player for entrant in one.data.entrants}
    ]


def test_the_same_seed_gives_the_same_line(demo_day, demo_day_again):
    output, _ = demo_day_again.communicate(timeout=300)
    assert demo_day_again.returncode == 0, output[-2000:]
    assert output.splitlines()[-1] == demo_day.summary


def test_the_summary_counts_the_day(demo_day, events):
    summary = msgspec.json.decode(demo_day.summary)
    assert list(summary) == [
        "players",
        "cleared",
        "games",
        "readings",
        "cautions",
        "sit_outs_served",
        "ejections",
        "events",
        "projections_match_log",
    ]
    assert summary["players"] == len(of(events, PlayerRegistered)) == 240
    assert summary["events"] == len(events)
    assert summary["ejections"] == 2
    assert summary["cautions"] == len([one for one in of(events, CautionRecorded) if one.data.weight])
    assert summary["cleared"] <= 240
    assert summary["games"] > 30
    assert summary["readings"] > 800
    assert summary["sit_outs_served"] >= 5
    assert summary["projections_match_log"] is True


def test_a_third_are_minors(events):
    assert 72 <= len([one for one in of(events, PlayerRegistered) if one.data.age_band < 18]) <= 88


def test_positions_are_dense_and_times_do_not_run_back(events):
    assert [event.position for event in events] == list(range(1, len(events) + 1))
    assert all(before.recorded_at <= after.recorded_at for before, after in pairwise(events))


def test_a_second_caution_ejects_and_the_entry_is_forfeited(events):
    first = only(events, CautionRecorded, violation="overshooting")
    player = first.data.player
    cautions = of(events, CautionRecorded, player=player)
    assert [one.data.violation for one in cautions] == ["overshooting", "close-shot"]
    refused = only(events, RefundRefused, player=player)
    assert "refund_forfeited" in [reason.code for reason in refused.data.reasons]
    assert of(events, RefundGranted) == []
    assert only(events, PlayerLeft, player=player).position > refused.position
    assert starts_with(events, player, cautions[1].position) == []


def test_a_minor_ejected_for_contact_plays_no_more_and_is_handed_to_an_adult(events):
    caution = only(events, CautionRecorded, violation="physical-contact")
    player = caution.data.player
    confirmed = only(events, EjectionConfirmed)
    assert (confirmed.data.player, confirmed.data.caution) == (player, caution.data.caution)
    assert only(events, PlayerRegistered, player=player).data.age_band < 18
    assert next_refusal(events, player, confirmed.position) == ["ejected"]
    assert starts_with(events, player, caution.position) == []
    assert only(events, MinorHandedOver, player=player).position > confirmed.position


def test_a_disputed_caution_is_withdrawn_on_appeal_and_the_player_plays_again(events):
    resolved = only(events, CautionResolved)
    appeal = only(events, AppealDecided, upheld=True)
    assert (appeal.data.caution, appeal.data.player) == (resolved.data.caution, resolved.data.player)
    assert len(of(events, CautionRecorded, player=resolved.data.player)) == 1
    assert starts_with(events, resolved.data.player, appeal.position)


def test_one_act_that_two_referees_record_counts_once(events):
    first, again = of(events, CautionRecorded, violation="blind-fire")
    voided = only(events, CautionVoided, cause="recorded_twice")
    assert first.data.player == again.data.player == voided.data.player
    assert first.actor != again.actor
    assert voided.data.caution == again.data.caution
    assert next_refusal(events, first.data.player, voided.position) == ["sitting_out"]
    assert starts_with(events, first.data.player, voided.position)


def test_a_handheld_that_was_out_of_reach_tells_of_a_caution_forty_minutes_later(events):
    late = only(events, CautionRecorded, violation="out-of-bounds")
    assert late.device == "far-handheld"
    assert late.recorded_at - late.occurred_at >= timedelta(minutes=40)
    entered = starts_with(events, late.data.player, 0)
    assert any(late.occurred_at < one.recorded_at < late.recorded_at for one in entered), (
        "he was let in before it was known"
    )
    assert next_refusal(events, late.data.player, late.position) == ["sitting_out"]


def test_a_marker_swapped_after_its_test_is_named_at_the_next_start(events):
    swapped = only(events, MarkerSwapped)
    assert next_refusal(events, swapped.data.player, swapped.position) == ["test_voided"]
    assert starts_with(events, swapped.data.player, swapped.position), "measured anew, he plays"


def test_a_failed_spot_check_on_a_field_is_named_at_the_next_start(events):
    checked = only(events, MarkerSpotChecked, finding="over_stop")
    assert next_refusal(events, checked.data.player, checked.position) == ["spot_check_failed"]
    assert starts_with(events, checked.data.player, checked.position), "measured anew, he plays"


def test_a_group_that_has_not_paid_is_named_whole_and_plays_once_it_has(events):
    refusals = [
        (refused, offender.player)
        for refused in of(events, StartRefused)
        for offender in refused.data.offenders
        if "entry_unpaid" in [reason.code for reason in offender.reasons]
    ]
    (group,) = {only(events, PlayerRegistered, player=player).data.group for _, player in refusals}
    players = {one.data.player for one in of(events, PlayerRegistered, group=group)}
    assert {player for _, player in refusals} == players
    paid = next(one for one in of(events, PaymentRecorded) if players & set(one.data.players))
    assert all(refused.position < paid.position for refused, _ in refusals)
    assert all(starts_with(events, player, paid.position) for player in players)


def test_some_games_are_called_from_a_proposal_and_what_the_referee_changed_in_one_stands_on_the_record(events):
    asked, changed = of(events, TeamsCalled)
    assert (asked.data.game, asked.data.overruled) == ("fern-1-04", ())
    assert asked.data.proposed == asked.data.called
    (one,) = changed.data.overruled
    assert changed.data.game == "fern-2-05"
    assert {one.proposed, one.called} == {"red", "blue"}
    for called in (asked, changed):
        players = next(row for row in called.data.proposed if row.attribute == "players")
        assert players.difference <= 1
        assert sum(side.total for side in players.sums) >= 20
        assert only(events, GameStarted, game=called.data.game).data.left_out == ()


def test_thunder_stops_every_field_for_half_an_hour_and_one_game_is_given_up(events):
    asked = only(events, HoldAsked)
    lifted = of(events, HoldLifted)
    assert asked.data.whole_park
    assert {one.data.field for one in lifted} == set(asked.data.fields) == {"birch", "quarry", "fern"}
    first, last = of(events, ThunderHeard)
    assert (first.occurred_at, first.position + 1) == (asked.occurred_at, asked.position)
    flash = only(events, FlashSeen)
    assert flash.occurred_at > last.occurred_at
    assert min(one.occurred_at for one in lifted) - flash.occurred_at >= timedelta(minutes=30)
    started = [one for one in of(events, GameStarted) if asked.position < one.position < lifted[0].position]
    assert started == []
    assert only(events, GameAbandoned, cause="weather").data.field == "birch"
