"""What if, asked of the invented day's own log. What each answer must tell was written out by hand, from the day's stories."""

import asyncio
from collections.abc import Callable
from typing import Any

import pytest
from msgspec.structs import replace

from contracts.discipline import AppealDecided, CautionRecorded, CautionResolved, CautionVoided
from contracts.envelope import Grant, Refusal
from contracts.games import GameEnded, GameStarted, StartRefused
from contracts.park import RulesAdopted
from contracts.problems import PositionAhead, UnknownSubject
from contracts.registration import RefundRefused
from contracts.what_if import Otherwise, WhatIf
from services.audit.replays.replay import replayed, what_if_at
from services.core.clock import SystemClock
from services.core.log import Log
from services.core.pool import Pool

pytestmark = pytest.mark.timeout(400)


@pytest.fixture(scope="module")
def events(demo_day):
    return demo_day.events


@pytest.fixture(scope="module")
def ask(demo_day, events) -> Callable[[Callable[..., Any]], Any]:
    """Put a question to the day's own log, at its end."""

    def asked(question: Callable[..., Any], *about: Any) -> Any:
        async def answer() -> Any:
            pool = Pool(demo_day.database.url, size=2)
            try:
                return await question(Log(pool, demo_day.park, SystemClock()), *about, events[-1].recorded_at)
            finally:
                await pool.close()

        return asyncio.run(answer())

    return asked


@pytest.fixture(scope="module")
def what_if(ask) -> Callable[..., Otherwise]:
    return lambda *void, **more: ask(what_if_at, WhatIf(void=void, **more))


def of(events, kind, **fields):
    return [
        event
        for event in events
        if isinstance(event.data, kind) and all(getattr(event.data, name) == value for name, value in fields.items())
    ]


def only(events, kind, **fields):
    (found,) = of(events, kind, **fields)
    return found


def decisions(answer: Otherwise) -> list[tuple[int, str, str | None, list[str], list[str]]]:
    return [
        (one.position, one.asked, one.player, [r.code for r in one.was.reasons], [r.code for r in one.would_be.reasons])
        for one in answer.decisions
    ]


def consequences(answer: Otherwise) -> list[tuple[int, str, str, int, int]]:
    return [(one.position, one.player, one.what, one.was, one.would_be) for one in answer.consequences]


def next_start(events, player, after):
    """The next start that named a player as not cleared, and the one right after it that left him out; then the end of that game."""
    refused = next(
        one
        for one in of(events, StartRefused)
        if one.position > after and player in {offender.player for offender in one.data.offenders}
    )
    started = next(one for one in of(events, GameStarted, game=refused.data.game))
    return refused.position, started.position, only(events, GameEnded, game=refused.data.game).position


def test_every_decision_of_the_day_follows_from_what_was_recorded_before_it(events, ask):
    answer = ask(replayed, None)
    assert answer.doubtful == ()
    assert answer.decisions_seen == len(of(events, Grant)) + len(of(events, Refusal)) > 250
    assert (answer.first, answer.last) == (1, len(events))


def test_without_his_first_caution_the_second_does_not_eject_but_owes_a_sit_out(events, what_if):
    first = only(events, CautionRecorded, violation="overshooting")
    player = first.data.player
    second = only(events, CautionRecorded, player=player, violation="close-shot")
    refused, started, ended = next_start(events, player, first.position)
    refund = only(events, RefundRefused)
    answer = what_if(first.position)
    assert decisions(answer) == [
        (refused, "start", player, ["sitting_out"], []),
        (started, "start", player, ["sitting_out"], []),
        (refund.position, "refund", player, ["refund_forfeited", "refund_after_start"], ["refund_after_start"]),
    ], "he left the park after that: no later start is about him"
    assert consequences(answer) == [
        (first.position, player, "sit_outs_owed", 1, 0),
        (ended, player, "sit_outs_served", 1, 0),
        (second.position, player, "sit_outs_owed", 0, 1),
        (second.position, player, "ejected", 1, 0),
    ]
    assert answer.consequences[-1].sentence == (
        f"{second.occurred_at:%H:%M}, player {player} came to be ejected, his entry forfeited; he would not be ejected."
    )


def test_without_the_contact_nobody_stands_down_and_nobody_is_ejected(events, what_if):
    caution = only(events, CautionRecorded, violation="physical-contact")
    player = caution.data.player
    refused, started, _ = next_start(events, player, caution.position)
    answer = what_if(caution.position)
    assert decisions(answer) == [
        (refused, "start", player, ["ejected"], []),
        (started, "start", player, ["ejected"], []),
    ]
    assert [(what, was, would_be) for _, _, what, was, would_be in consequences(answer)] == [
        ("stood_down", 1, 0),
        ("ejected", 1, 0),
    ]


def test_without_the_entry_that_was_withdrawn_no_decision_is_another_and_he_is_not_stood_down_meanwhile(
    events, what_if
):
    withdrawn = only(events, CautionVoided, cause="recorded_twice")
    again = only(events, CautionRecorded, caution=withdrawn.data.caution)
    answer = what_if(again.position)
    assert decisions(answer) == []
    assert consequences(answer) == [(again.position, again.data.player, "stood_down", 1, 0)]
    assert decisions(what_if(again.position, withdrawn.position)) == []


def test_without_its_withdrawal_the_act_that_was_recorded_twice_keeps_him_stood_down(events, what_if):
    withdrawn = only(events, CautionVoided, cause="recorded_twice")
    player = withdrawn.data.player
    answer = what_if(withdrawn.position)
    refused, started, _ = next_start(events, player, withdrawn.position)
    assert decisions(answer)[:2] == [
        (refused, "start", player, ["sitting_out"], ["stood_down", "sitting_out"]),
        (started, "start", player, ["sitting_out"], ["stood_down", "sitting_out"]),
    ]
    later = [one.position for one in of(events, GameStarted) if player in {each.player for each in one.data.entrants}]
    assert [(position, would_be) for position, _, _, _, would_be in decisions(answer)[2:]] == [
        (position, ["stood_down"]) for position in later if position > withdrawn.position
    ]
    assert consequences(answer) == [(withdrawn.position, player, "stood_down", 0, 1)]


def test_without_the_disputed_caution_its_appeal_decides_nothing(events, what_if):
    resolved, appeal = only(events, CautionResolved), only(events, AppealDecided)
    caution = only(events, CautionRecorded, caution=resolved.data.caution)
    answer = what_if(caution.position)
    assert answer.void == (caution.position, resolved.position)
    assert decisions(answer) == []
    assert consequences(answer) == [(resolved.position, resolved.data.player, "ejected", 1, 0)]
    kept_out = what_if(appeal.position)
    assert {player for _, _, player, _, _ in decisions(kept_out)} == {resolved.data.player}
    assert {tuple(would_be) for *_, would_be in decisions(kept_out)} == {("ejected",)}


def test_without_a_note_nothing_is_another(events, what_if):
    note = only(events, CautionRecorded, violation="asking-for-help")
    answer = what_if(note.position)
    assert (answer.decisions, answer.consequences) == ((), ())


def test_where_three_cautions_eject_two_sit_out(events, what_if):
    rules = only(events, RulesAdopted).data.rules
    three = replace(rules, version="three", discipline=replace(rules.discipline, cautions_to_eject=3))
    player = only(events, CautionRecorded, violation="overshooting").data.player
    second = only(events, CautionRecorded, player=player, violation="close-shot")
    resolved, refund = only(events, CautionResolved), only(events, RefundRefused)
    answer = what_if(rules=three)
    assert decisions(answer) == [
        (
            refund.position,
            "refund",
            second.data.player,
            ["refund_forfeited", "refund_after_start"],
            ["refund_after_start"],
        )
    ]
    assert consequences(answer) == [
        (resolved.position, resolved.data.player, "sit_outs_owed", 0, 1),
        (resolved.position, resolved.data.player, "ejected", 1, 0),
        (second.position, second.data.player, "sit_outs_owed", 0, 1),
        (second.position, second.data.player, "ejected", 1, 0),
    ]
    assert answer.rules == "three"


def test_the_rules_in_force_change_nothing(events, what_if):
    answer = what_if(rules=only(events, RulesAdopted).data.rules)
    assert (answer.decisions, answer.consequences) == ((), ())
    assert answer.decisions_seen > 250


def test_what_was_recorded_later_is_not_replayed(events, what_if):
    first = only(events, CautionRecorded, violation="overshooting")
    refused, *_ = next_start(events, first.data.player, first.position)
    answer = what_if(first.position, until=events[refused - 1].recorded_at)
    assert answer.last == refused
    assert [position for position, *_ in decisions(answer)] == [refused]


def test_what_the_log_does_not_hold_cannot_be_left_out(events, what_if):
    with pytest.raises(PositionAhead, match=f"ends at position {len(events)}"):
        what_if(len(events) + 1)
    with pytest.raises(UnknownSubject, match="is not among those replayed"):
        what_if(100, until=events[50].recorded_at)


def test_nothing_is_written(events, ask, what_if):
    what_if(only(events, CautionRecorded, violation="overshooting").position)

    async def head(log: Log, _: Any) -> int:
        return (await log.head()).position

    assert ask(head) == len(events)
