"""A subject's story: every event in words, the rule it fell under, what followed, what was decided, and what withdrew it."""

import re
from datetime import timedelta
from hashlib import sha256
from typing import get_args

import msgspec
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from contracts.catalogue import EVENTS, tags_of
from contracts.discipline import (
    CautionRecorded,
    CautionResolved,
    CautionVoided,
    ConfirmEjection,
    DecideAppeal,
    EjectionConfirmed,
    PlayerReinstated,
    RaiseAppeal,
    SeparateActRuled,
    VoidCaution,
)
from contracts.envelope import Grant, Reason, Refusal, Unknown
from contracts.games import Entrant, EntryRecorded, GameStarted, HoldAsked, HoldLifted, Offender, StartRefused
from contracts.incidents import PlayerFit, PlayerUnfit
from contracts.park import RulesAdopted
from contracts.registration import (
    BanLifted,
    ConsentGiven,
    ConsentWithdrawn,
    PassReissued,
    PaymentRecorded,
    PaymentVoided,
    PersonBanned,
    WaiverSigned,
    WithdrawalVoided,
)
from contracts.rules import DEFAULT, DisciplineRules, GameRules, MoneyRules, Rules, VelocityRules, Violation
from contracts.story import Kind
from contracts.velocity import ChronoAdjusted, ChronoChecked, MarkerSpotChecked, MarkerTested, SetUpChanged
from services.audit.stories.outcome import _GRANTED, _REFUSED
from services.audit.stories.routes import WHOLE
from services.audit.stories.story import Span
from services.audit.words.scene import Scene, lasting
from services.audit.words.telling import WORDS, sentence
from tests.unit.discipline_day import BASIS, abandon, called, caution, configured, discipline_day, end, play, start
from tests.unit.instances import plain as plain_data
from tests.unit.instances import strategy
from tests.unit.scenario import NINE, Scenario
from tests.unit.strings import said
from tests.unit.telling import of, recorded, row, story

ROUGH = Violation(code="rough", weight=1, title="Rough")


def told(day, tag="player:p1"):
    """What followed, as far as anything did."""
    return [event.consequence for event in story(day, tag).events if event.consequence]


def test_every_event_type_has_its_words():
    assert set(WORDS) == {*EVENTS.values(), Unknown}


def test_every_grant_and_refusal_has_words_for_its_outcome():
    assert set(_GRANTED) == {data for data in EVENTS.values() if issubclass(data, Grant)}
    assert {*_REFUSED, StartRefused} == {data for data in EVENTS.values() if issubclass(data, Refusal)}


@pytest.mark.parametrize("kind", EVENTS)
@settings(
    max_examples=10, deadline=None, phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck)
)
@given(data=st.data())
def test_any_instance_of_any_type_is_told_in_each_story_that_it_belongs_to(kind, data):
    instance = data.draw(strategy(EVENTS[kind]))
    if isinstance(instance, RulesAdopted):  # only those with a time zone that there is are adopted
        instance = RulesAdopted(rules=msgspec.structs.replace(instance.rules, time_zone="Asia/Kathmandu"))
    for tag in tags_of(instance):
        (event,) = story([recorded(instance, kind)], tag).events
        assert event.sentence.endswith((".", "\N{RIGHT DOUBLE QUOTATION MARK}"))
        assert not event.sentence[0].islower()
        assert "None" not in re.sub(
            r"\N{LEFT DOUBLE QUOTATION MARK}.*?\N{RIGHT DOUBLE QUOTATION MARK}", "", event.sentence, flags=re.DOTALL
        ), "a quoted reason may say so"
        assert (event.decision is not None) is isinstance(instance, Grant | Refusal | EntryRecorded)


def test_every_kind_of_tag_has_a_story_that_can_be_asked_for():
    plain = (plain_data(data) for data in EVENTS.values())
    tags = {tag for data in plain for tag in tags_of(data)}
    assert {tag.partition(":")[0] for tag in tags} == set(get_args(get_args(Kind)[0]))
    assert {tag for tag in tags if ":" not in tag} == WHOLE


def test_what_cannot_be_read_is_said_to_be_so():
    unknown = Unknown(type="games.rain_dance", version=3, why="unknown type or version")
    assert "games.rain_dance, version 3" in sentence(unknown, Scene(about="player:p1"))


def entrants(*players):
    return tuple(Entrant(player=one, colour="red") for one in players)


def offender(player, code):
    return Offender(player=player, reasons=(Reason(code=code, sentence=f"About {code}.", where="desk"),))


STARTED = GameStarted(
    basis=BASIS, game="g1", field="birch", rotation="green", format="elimination", minutes=15,
    entrants=entrants("p1", "p2", "p3"), left_out=(offender("p4", "sitting_out"), offender("p5", "entry_unpaid")),
)  # fmt: skip
REFUSED = StartRefused(
    basis=BASIS,
    reasons=(),
    game="g1",
    field="birch",
    offenders=(offender("p4", "sitting_out"), offender("p5", "ejected")),
)


def only(data, kind, tag):
    (event,) = story([recorded(data, kind)], tag).events
    return event


@pytest.mark.parametrize(
    ("data", "kind", "player", "granted", "codes"),
    [
        (STARTED, "games.game_started", "p1", True, []),
        (STARTED, "games.game_started", "p4", False, ["sitting_out"]),
        (REFUSED, "games.start_refused", "p5", False, ["ejected"]),
    ],
)
def test_in_a_players_story_only_his_own_part_of_a_start_is_told(data, kind, player, granted, codes):
    event = only(data, kind, f"player:{player}")
    assert (event.decision.granted, [one.code for one in event.decision.reasons]) == (granted, codes)
    everything = msgspec.json.encode(event).decode()
    others = {"p1", "p2", "p3", "p4", "p5"} - {player}
    assert not [other for other in others if f'"{other}"' in everything or f" {other} " in everything]
    assert player in event.sentence


def test_in_the_games_own_story_everybody_is_told():
    event = only(REFUSED, "games.start_refused", "game:g1")
    assert "p4" in event.sentence
    assert "About ejected." in event.sentence
    assert event.decision.sentence == "Not cleared: nobody was let on. 2 players not cleared."
    assert len(event.data.offenders) == 2


def test_the_leaf_of_each_event_is_named_by_its_hash():
    """RFC 9162 section 2.1.1: SHA-256 over a zero byte and the leaf."""
    event = recorded(PlayerUnfit(player="p1", cause="injured"), "incidents.player_unfit")
    (event_told,) = story([event], "player:p1").events
    assert event_told.leaf_sha256 == sha256(b"\x00" + row(event).leaf).hexdigest()


# what followed


def test_the_first_caution_owes_a_game_and_the_game_that_serves_it_is_part_of_the_story():
    day = discipline_day()
    caution(day, "c1")
    play(day, "g1", 20)
    assert told(day) == [
        "Player p1 owes 1 full game of the rotation to sit out.",
        "Player p1 has served the sit-out for caution c1. Player p1 may play again as far as cautions go.",
    ]
    assert [event.sentence for event in of(story(day, "player:p1"), "game_ended")] == [
        "Game g1 on field birch ended after 15 minutes of play, a full game."
    ]


def test_a_game_that_serves_nothing_is_no_part_of_it():
    day = discipline_day()
    caution(day, "c1")
    play(day, "g1", 20, full=False)
    abandon(day, "g2", 50)
    assert of(story(day, "player:p1"), "game_ended") == of(story(day, "player:p1"), "game_abandoned") == []


def test_the_second_caution_ejects():
    day = discipline_day()
    caution(day, "c1")
    day.at(30)
    caution(day, "c2")
    assert told(day)[-1] == "Player p1 is ejected for the day, and the entry is forfeited."


def test_a_second_entry_for_what_may_be_one_act_waits_for_the_head_referee():
    day = discipline_day()
    caution(day, "c1")
    day.at(11)
    caution(day, "c2")
    day.at(12).given(SeparateActRuled(caution="c2", player="p1"))
    assert told(day)[1:] == [
        "Player p1 is stood down until the head referee has ruled whether caution c2 was for a separate act.",
        "Player p1 is ejected for the day, and the entry is forfeited.",
    ]


def test_a_violation_that_weighs_two_stands_down_until_it_is_confirmed():
    day = discipline_day()
    caution(day, "c1", "physical-contact")
    day.at(20).when(ConfirmEjection(player="p1", caution="c1"))
    day.at(40).given(PlayerReinstated(player="p1"))
    assert told(day) == [
        "Player p1 is stood down at once, awaiting the head referee's decision on caution c1.",
        "Player p1 is ejected for the day, and the entry is forfeited.",
        "Player p1 is no longer ejected. Player p1 may play again as far as cautions go.",
    ]


def test_a_caution_that_is_withdrawn_on_appeal_owes_nothing_any_more():
    day = discipline_day()
    caution(day, "c1")
    day.at(20).when(RaiseAppeal(appeal="a1", caution="c1", player="p1"))
    day.at(30).when(DecideAppeal(appeal="a1", caution="c1", player="p1", upheld=True))
    assert told(day)[1:] == [
        "Player p1 has no game to sit out any more. Player p1 may play again as far as cautions go."
    ]


def test_a_note_has_no_consequence():
    day = discipline_day()
    caution(day, "c1", "asking-for-help")
    assert told(day) == []
    (event,) = of(story(day, "player:p1"), "caution_recorded")
    assert event.sentence == "A note was recorded against player p1: asking for help (c1)."
    assert "is a note, without consequence" in event.rule


def test_minutes_of_a_continuous_game_serve_a_sit_out_and_holds_do_not_count():
    day = discipline_day()
    caution(day, "c1")
    start(day, "g1", 20, kind="continuous")
    day.at(30).given(HoldAsked(hold="h1", fields=("birch",), whole_park=False, cause="weather"))
    day.at(60).given(HoldLifted(hold="h1", field="birch"))
    day.at(69).given(PlayerUnfit(player="p1", cause="medical"))
    day.at(70).given(PlayerFit(player="p1"))
    assert told(day)[1:] == [
        "Player p1 may not play until a first aider or a manager declares him fit.",
        (
            "Player p1 has served the sit-out for caution c1. Player p1 is fit to play again. "
            "Player p1 may play again as far as cautions go."
        ),
    ]


def test_in_the_fields_story_a_caution_has_the_same_consequence():
    day = discipline_day()
    day.given(
        CautionRecorded(
            caution="c1", player="p1", field="birch", game=None, colour=None, armband=None, violation="wiping", weight=1
        )
    )
    assert told(day, "field:birch") == ["Player p1 owes 1 full game of the rotation to sit out."]


def test_what_follows_for_a_player_elsewhere_is_no_part_of_another_story():
    day = discipline_day()
    caution(day, "c1")
    assert [event.type for event in story(day, "field:fern").events] == ["games.field_configured"]


TEST = MarkerTested(
    test="t1",
    marker="m1",
    chrono="k1",
    readings_fps=(270.0, 272.0, 275.0),
    low_pressure=False,
    sealed=False,
    temperature_c=None,
    misreads=(),
    ball_g=None,
    rate_bps=None,
)


def test_a_marker_test_says_which_fields_it_serves_by_the_same_rule_as_the_gate():
    day = Scenario().given(configured("birch"), msgspec.structs.replace(configured("fern"), limit_fps=275), TEST)
    (event,) = of(story(day, "marker:m1"), "marker_tested")
    assert event.consequence == "By itself this string passes for birch (285 ft/s); it is too fast for fern (275 ft/s)."
    assert "each under the limit" in event.rule
    assert said(TEST.readings_fps, 275, DEFAULT.velocity) == "turn_down"


def test_a_park_whose_limit_may_be_reached_is_told_so():
    lenient = Rules(version="lenient", velocity=VelocityRules(readings=5, comparison="<="))
    day = Scenario().given(RulesAdopted(rules=lenient), TEST)
    (event,) = of(story(day, "marker:m1"), "marker_tested")
    assert event.rule.startswith("Under rules lenient, a test needs at least 5 readings, each at or under the limit")


VOID = "No test of marker m1 from before this counts any more: it has to be measured anew."


@pytest.mark.parametrize(
    ("data", "kind", "consequence"),
    [
        (SetUpChanged(marker="m1", change="adjuster", firing_mode=None), "velocity.set_up_changed", VOID),
        (SetUpChanged(marker="m1", change="refill", firing_mode=None), "velocity.set_up_changed", ""),
        (
            MarkerSpotChecked(
                check="s1", marker="m1", field="birch", game=None, player=None, speed_fps=304.5, bench_limit_fps=285,
                stop_limit_fps=300, finding="over_stop",
            ),
            "velocity.marker_spot_checked",
            VOID,
        ),
        (
            ChronoChecked(chrono="k1", good=False, bias_fps=None, readings_fps=(), reference_fps=(), signals=("person",)),
            "velocity.chrono_checked",
            "Nothing that it measured since its last good check counts, nor what it measures before the next good one.",
        ),
        (
            ChronoChecked(
                chrono="k1", good=False, bias_fps=-4.0, readings_fps=(276.0,), reference_fps=(280.0,), signals=("too_few", "bias"),
            ),
            "velocity.chrono_checked",
            "What it measured since its last good check counts only where it passes corrected by +4 ft/s, or by what the mean of its checks was off where that reads lower; what it measures before the next good check does not count.",
        ),
        (
            ChronoChecked(chrono="k1", good=False, bias_fps=0.5, readings_fps=(280.5,), reference_fps=(280.0,), signals=("too_few",)),
            "velocity.chrono_checked",
            "It neither opens nor closes it.",
        ),
        (
            ChronoAdjusted(chrono="k1", work="battery"),
            "velocity.chrono_adjusted",
            "Nothing that it measured since its last check counts any more, nor what it measures before the next good one.",
        ),
        (ChronoChecked(chrono="k1", good=True, bias_fps=None, readings_fps=(), reference_fps=(), signals=()), "velocity.chrono_checked", ""),
    ],
)  # fmt: skip
def test_what_voids_a_test_says_so(data, kind, consequence):
    assert only(data, kind, tags_of(data)[0]).consequence == consequence


# the rule then in force


def test_an_act_is_weighed_by_the_rules_of_when_it_happened_and_its_consequence_by_those_of_when_it_was_told():
    old = Rules(version="old", discipline=DisciplineRules(catalogue=(ROUGH,)))
    new = Rules(version="new", discipline=DisciplineRules(catalogue=(ROUGH,), cautions_to_eject=3))
    day = discipline_day().at(0).given(RulesAdopted(rules=old)).at(30).given(RulesAdopted(rules=new)).at(40)
    caution(day, "c1", "rough", minute=20)
    (event,) = of(story(day, "player:p1"), "caution_recorded")
    assert event.rule.startswith(
        "Under rules old, \N{LEFT DOUBLE QUOTATION MARK}Rough\N{RIGHT DOUBLE QUOTATION MARK} weighs one caution. "
        "Under rules new one caution owes a full game of the player's rotation to sit out; 3 in a day eject"
    )


@pytest.mark.parametrize(
    ("rules", "kind", "words"),
    [
        (Rules(version="x", games=GameRules(full_minutes=9)), "game_ended", "a game of at least 9 minutes"),
        (Rules(version="x", games=GameRules(players_per_referee=7)), "game_started", "a referee for every 7 players"),
        (Rules(version="x", money=MoneyRules(currency="JPY")), "payment_recorded", "voucher"),
    ],
)
def test_the_numbers_are_those_of_the_version_in_force(rules, kind, words):
    day = discipline_day().given(RulesAdopted(rules=rules))
    play(day, "g1", 20, "p1")
    day.given(PaymentRecorded(payment="t1", players=("p1",), purpose="entry", means="cash", amount_minor=2500))
    assert words in of(story(day, "player:p1"), kind)[0].rule


@pytest.mark.parametrize(("currency", "amount"), [("EUR", "25.00 EUR"), ("JPY", "2500 JPY"), ("KWD", "2.500 KWD")])
def test_money_is_told_in_its_own_units(currency, amount):
    """ISO 4217 exponents 2, 0 and 3; from memory."""
    assert Scene(about="player:p1", rules=Rules(version="x", money=MoneyRules(currency=currency))).money(2500) == amount


# times


def test_times_are_told_by_the_parks_clock_with_its_offset():
    """British Summer Time is UTC+1 in May: IANA time zone database."""
    day = discipline_day().at(0).given(RulesAdopted(rules=Rules(version="x", time_zone="Europe/London"))).at(15)
    caution(day, "c1")
    assert of(story(day, "player:p1"), "caution_recorded")[0].local_time == "2026-05-09 10:15:00+01:00"
    assert story(day, "player:p1").time_zone == "Europe/London"


LATE = timedelta(minutes=40)


@pytest.mark.parametrize(
    ("clock", "late", "claimed", "words"),
    [
        ("server", timedelta(), None, ""),
        ("corrected", timedelta(seconds=59), NINE, ""),
        (
            "corrected",
            LATE,
            NINE,
            (
                "Told 40 minutes after it happened, at 09:40, by device desk-1; by that device's own time, corrected when it next "
                "reached the server."
            ),
        ),
        (
            "claimed",
            timedelta(hours=25, minutes=1),
            NINE,
            (
                "Told 1 day, 1 hour and 1 minute after it happened, at 10:01, by device desk-1; by that device's own time, whose error "
                "is not known."
            ),
        ),
        (
            "impossible",
            timedelta(),
            NINE + timedelta(days=400),
            "Device desk-1 claimed 2027-06-13 09:00:00 +0000, which cannot be; what stands here is when it was received.",
        ),
    ],
)
def test_lateness_says_what_is_known_and_no_more(clock, late, claimed, words):
    event = recorded(
        PlayerUnfit(player="p1", cause="injured"),
        "incidents.player_unfit",
        recorded_at=NINE + late,
        clock=clock,
        claimed_at=claimed,
    )
    (event_told,) = story([event], "player:p1").events
    assert event_told.lateness == words
    assert event_told.late_seconds == late.total_seconds()


@pytest.mark.parametrize(
    ("span", "words"),
    [(timedelta(seconds=1), "1 second"), (timedelta(minutes=2), "2 minutes"), (timedelta(days=2), "2 days")],
)
def test_spans_are_told_in_words(span, words):
    assert lasting(span) == words


# what withdraws or corrects


def chain(*data):
    """These events one after the other, a minute apart."""
    kinds = {one: name for name, one in EVENTS.items()}
    return [
        recorded(one, kinds[type(one)], place, NINE + timedelta(minutes=place)) for place, one in enumerate(data, 1)
    ]


SLIP = CautionRecorded(
    caution="c1", player=None, field="birch", game="g0", colour="red", armband=14, violation="wiping", weight=1
)
RESOLVED = CautionResolved(
    caution="c1", player="p1", violation="wiping", weight=1, field="birch", game="g0", happened_at=NINE
)
CONSENT = ConsentGiven(
    person="kid", guardian="mum", relationship="parent", wording="w1", on_site=True, responsible=None
)
TAKEN_BACK = ConsentWithdrawn(person="kid", guardian="mum")


@pytest.mark.parametrize(
    ("events", "tag", "corrected"),
    [
        (
            chain(SLIP, RESOLVED, CautionVoided(caution="c1", player="p1", cause="wrong_player")),
            "caution:c1",
            {1: (2, 3), 2: (3,)},
        ),
        (
            chain(
                PaymentRecorded(payment="t1", players=("p1",), purpose="entry", means="cash", amount_minor=1),
                PaymentVoided(payment="t1", players=("p1",), error="wrong_amount"),
            ),
            "player:p1",
            {1: (2,)},
        ),
        (
            chain(CONSENT, TAKEN_BACK, WithdrawalVoided(person="kid", guardian="mum", error="wrong_child"), TAKEN_BACK),
            "person:kid",
            {1: (2,), 2: (3,)},
        ),
        (
            chain(
                PassReissued(player="p1", day_pass="b", replaces="a", fault="lost"),  # noqa: S106
                PassReissued(player="p1", day_pass="c", replaces="b", fault="lost"),  # noqa: S106
            ),
            "player:p1",
            {1: (2,)},
        ),
        (chain(PersonBanned(person="kid", until=None), BanLifted(person="kid")), "person:kid", {1: (2,)}),
        (chain(called("g1"), called("g1")), "game:g1", {1: (2,)}),
        (chain(CONSENT, ConsentWithdrawn(person="kid", guardian="dad")), "person:kid", {}),
    ],
)
def test_what_withdraws_or_corrects_an_event_is_named_beside_it(events, tag, corrected):
    assert {one.position: one.corrected_by for one in story(events, tag).events if one.corrected_by} == corrected


def test_an_appeal_that_is_turned_down_withdraws_nothing():
    day = discipline_day()
    caution(day, "c1")
    day.at(20).when(RaiseAppeal(appeal="a1", caution="c1", player="p1"))
    day.at(30).when(DecideAppeal(appeal="a1", caution="c1", player="p1", upheld=False))
    assert of(story(day, "player:p1"), "caution_recorded")[0].corrected_by == ()


# what belongs to a story


def test_a_caution_by_number_is_in_the_story_of_whoever_it_proved_to_be_about():
    events = chain(SLIP, RESOLVED)
    assert [one.position for one in story(events, "player:p1").events] == [1, 2]
    assert story(events, "player:p2").events == ()


def test_his_papers_of_that_day_and_before_are_in_a_players_story_and_nobody_elses():
    day = discipline_day()
    day.given(WaiverSigned(person="person-p1", wording="w1", language="en"))
    day.given(WaiverSigned(person="person-p2", wording="w1", language="en"))
    day.at(24 * 60).given(WaiverSigned(person="person-p1", wording="w2", language="en"))
    (signed,) = of(story(day, "player:p1"), "waiver_signed")
    assert signed.data.person == "person-p1"
    assert signed.rule.startswith("Under rules default, wording w1 is accepted; a signature counts for 365 days.")


def busy():
    """A day with some history, of which one caution was told late."""
    day = discipline_day()
    caution(day, "c1")
    play(day, "g1", 20)
    day.at(60)
    caution(day, "c2", minute=15)
    day.at(70).when(VoidCaution(caution="c2", player="p1", cause="entered_in_error"))
    return day


@pytest.mark.parametrize("tag", ["player:p1", "field:birch", "rotation:green"])
@pytest.mark.parametrize("limit", [1, 2, 3])
def test_the_parts_of_a_story_make_the_whole(tag, limit):
    day, parts, after, more = busy(), [], 0, True
    while more:
        part = story(day, tag, Span(after=after, limit=limit))
        assert part.events[0].position > after
        parts += part.events
        after, more = part.events[-1].position, part.more
    assert parts == list(story(day, tag).events)
    assert len(parts) > limit


def test_in_order_of_happening_what_was_told_late_stands_where_it_belongs():
    happened = story(busy(), "player:p1", Span(order="happened")).events
    assert [one.occurred_at for one in happened] == sorted(one.occurred_at for one in happened)
    assert {one.id for one in happened} == {one.id for one in story(busy(), "player:p1").events}
    names = [one.data.caution for one in happened if one.type == "discipline.caution_recorded"]
    assert names == ["c1", "c2"]
    assert [one.type for one in happened].index("games.game_ended") > [one.position for one in happened].index(
        next(one.position for one in happened if getattr(one.data, "caution", "") == "c2")
    )


def test_as_the_log_stood_earlier_nothing_later_is_told():
    whole = story(busy(), "player:p1")
    voided = of(whole, "caution_voided")[0].position
    before = story(busy(), "player:p1", Span(until=voided - 1))
    assert before.position == voided - 1
    assert all(one.position < voided and voided not in one.corrected_by for one in before.events)
    assert any(voided in one.corrected_by for one in whole.events)


def test_an_ended_game_that_was_played_by_him_stays_his_own():
    day = discipline_day()
    start(day, "g1", 20, "p1")
    end(day, "g1", 20, 35, "p1")
    (ended,) = of(story(day, "player:p1"), "game_ended")
    assert ended.sentence.endswith("Player p1 was on its list.")


def test_a_confirmed_ejection_names_who_decided():
    day = discipline_day()
    day.given(EjectionConfirmed(player="p1", caution="c9"))
    (event,) = of(story(day, "player:p1"), "ejection_confirmed")
    assert event.sentence == "The ejection of player p1 for caution c9 was confirmed."
    assert event.rule.startswith("Only the head referee or a manager ejects")


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (
            {"good": True, "bias_fps": 0.25, "readings_fps": (280.5, 280.0), "reference_fps": (280.0, 280.0), "signals": ()},
            "Chronograph k1 was checked over 2 shots and agreed with the reference. It read +0.25 ft/s against the reference.",
        ),
        (
            {"good": False, "bias_fps": -4.0, "readings_fps": (276.0,), "reference_fps": (280.0,), "signals": ("bias", "shewhart")},
            "Chronograph k1 was checked over 1 shot and did not agree with the reference. It read -4 ft/s against the reference. Closed: it is further off than the rule allows and the check is beyond its chart's limits.",
        ),
        (
            {"good": False, "bias_fps": 0.5, "readings_fps": (280.5,), "reference_fps": (280.0,), "signals": ("too_few",)},
            "Chronograph k1 was checked over 1 shot: too few to decide anything. It read +0.5 ft/s against the reference.",
        ),
    ],
    ids=["good", "closed", "too few"],
)  # fmt: skip
def test_a_check_of_a_chronograph_says_what_it_found(found, told):
    assert sentence(ChronoChecked(chrono="k1", **found), Scene(about="chrono:k1")) == told
