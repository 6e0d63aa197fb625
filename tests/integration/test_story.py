"""Stories on the invented day, against what was to happen, written out by hand; read from a real log; asked for over HTTP and in the terminal."""

from datetime import timedelta

import msgspec
import pytest
import uvloop

from contracts.discipline import CautionRecorded, CautionResolved
from contracts.games import Entrant, Offender
from contracts.problems import InvalidParameter, PositionAhead, UnknownSubject
from contracts.story import Story
from services.audit.point import position_of
from services.audit.stories.sightings import by_place, by_sign
from services.audit.stories.sources import rows_of, story_of
from services.audit.stories.story import Span, tell
from services.core.clock import SystemClock
from services.core.log import Log
from services.core.park import Park
from services.core.pool import Pool
from tests.integration.terminal import terminal

pytestmark = pytest.mark.timeout(400)

OWES = "{} owes 1 full game of the rotation to sit out."
SERVED = "{} has served the sit-out for caution {}. {} may play again as far as cautions go."


def cautioned(day, violation):
    """Whom a violation was recorded against first."""
    return next(
        event.data.player
        for event in day.events
        if isinstance(event.data, CautionRecorded | CautionResolved)
        and event.data.violation == violation
        and event.data.player
    )


def plot(day, player):
    """What was decided about a player on the fields and at the till, what followed, what came late, what was withdrawn: a line each."""
    story = tell(day.park, f"player:{player}", day.rows)
    types = {event.position: event.type.partition(".")[2] for event in story.events}
    lines = []
    for event in story.events:
        when, what = event.local_time[11:16], types[event.position]
        if event.decision and what != "gear_issued":
            codes = ", ".join(reason.code for reason in event.decision.reasons)
            lines.append(f"{when} {what} {'yes' if event.decision.granted else 'no'} {codes}".strip())
        if event.lateness:
            lines.append(f"{when} {event.lateness}")
        if event.consequence:
            lines.append(f"{when} {what}: {event.consequence}")
        if event.corrected_by:
            lines.append(f"{when} {what} corrected by {', '.join(types[one] for one in event.corrected_by)}")
    return lines


def test_the_player_ejected_for_two_cautions(demo_day):
    """Overshooting in his second game; the third serves the sit-out; a close shot in the fourth. No refund, no further game."""
    player = cautioned(demo_day, "overshooting")
    he = f"Player {player}"
    assert plot(demo_day, player) == [
        "09:48 game_started yes",
        "10:38 game_started yes",
        f"10:45 caution_recorded: {OWES.format(he)}",
        "11:28 start_refused no sitting_out",
        "11:28 game_started no sitting_out",
        f"11:43 game_ended: {SERVED.format(he, 'c02', he)}",
        "12:18 game_started yes",
        f"12:25 caution_recorded: {he} is ejected for the day, and the entry is forfeited.",
        "12:45 refund_refused no refund_forfeited, refund_after_start",
    ]


def test_the_minor_ejected_for_physical_contact(demo_day):
    """His group had not paid when the first game was called. He is stood down at once, ejected by the head referee, then handed over."""
    player = cautioned(demo_day, "physical-contact")
    he = f"Player {player}"
    assert plot(demo_day, player) == [
        "09:53 start_refused no entry_unpaid",
        "09:53 game_started no entry_unpaid",
        "10:43 game_started yes",
        f"10:50 caution_recorded: {he} is stood down at once, awaiting the head referee's decision on caution c03.",
        f"10:58 ejection_confirmed: {he} is ejected for the day, and the entry is forfeited.",
        "11:33 start_refused no ejected",
        "11:33 game_started no ejected",
    ]
    last = tell(demo_day.park, f"player:{player}", demo_day.rows).events[-1]
    assert last.sentence == f"{he}, a minor, was handed over to adult guardian-{player[1:]} and left the park."


def test_the_caution_that_was_another_mans(demo_day):
    """A second caution, by colour and number, ejects him; upheld on appeal half an hour later he plays on, and all day."""
    player = cautioned(demo_day, "playing-on")
    he = f"Player {player}"
    lines = plot(demo_day, player)
    assert lines[:10] == [
        "10:13 game_started yes",
        f"10:20 caution_recorded: {OWES.format(he)}",
        "11:03 start_refused no sitting_out",
        "11:03 game_started no sitting_out",
        f"11:18 game_ended: {SERVED.format(he, 'c01', he)}",
        "11:53 game_started yes",
        "12:00 caution_recorded corrected by caution_resolved, appeal_decided",
        f"12:00 caution_resolved: {he} is ejected for the day, and the entry is forfeited.",
        "12:00 caution_resolved corrected by appeal_decided",
        f"12:30 appeal_decided: {he} is no longer ejected. {he} may play again as far as cautions go.",
    ]
    assert [line[6:] for line in lines[10:]] == ["game_started yes"] * 4


def test_one_act_that_two_referees_recorded(demo_day):
    """The second entry stands him down until the head referee withdraws it; the first owes one game."""
    player = cautioned(demo_day, "blind-fire")
    he = f"Player {player}"
    lines = plot(demo_day, player)
    assert lines[:10] == [
        "09:58 game_started yes",
        "10:48 game_started yes",
        f"10:55 caution_recorded: {OWES.format(he)}",
        f"10:55 caution_recorded: {he} is stood down until the head referee has ruled whether caution c05 was for a separate act.",
        "10:55 caution_recorded corrected by caution_voided",
        f"11:01 caution_voided: {he} is no longer stood down.",
        "11:38 start_refused no sitting_out",
        "11:38 game_started no sitting_out",
        f"11:53 game_ended: {SERVED.format(he, 'c04', he)}",
        "12:28 game_started yes",
    ]
    assert [line[6:] for line in lines[10:]] == ["game_started yes"] * 3


def test_the_handheld_that_was_out_of_reach(demo_day):
    """Seen at 11:20, told at 12:00, when he was on the field again: let in on what was known, he owes a game from then on."""
    player = cautioned(demo_day, "out-of-bounds")
    he = f"Player {player}"
    lines = plot(demo_day, player)
    assert lines[:8] == [
        "10:18 game_started yes",
        "11:08 game_started yes",
        "11:58 game_started yes",
        (
            "11:20 Told 40 minutes after it happened, at 12:00, by device far-handheld; by that device's own time, corrected when it next "
            "reached the server."
        ),
        f"11:20 caution_recorded: {OWES.format(he)}",
        "12:48 start_refused no sitting_out",
        "12:48 game_started no sitting_out",
        f"13:03 game_ended: {SERVED.format(he, 'c06', he)}",
    ]
    happened = tell(demo_day.park, f"player:{player}", demo_day.rows, Span(order="happened"))
    places = {event.type: place for place, event in enumerate(happened.events)}
    caution = next(place for place, event in enumerate(happened.events) if event.type == "discipline.caution_recorded")
    assert happened.events[caution + 1].data.game == happened.events[caution].data.game == "quarry-2-02"
    assert places["registration.player_left"] == len(happened.events) - 1


def others_of(value, player):
    """Whatever in the lines of a list is about another player."""
    if isinstance(value, Entrant | Offender):
        return [value] if value.player != player else []
    fields = (getattr(value, name) for name in value.__struct_fields__) if isinstance(value, msgspec.Struct) else ()
    parts = value if isinstance(value, tuple) else fields
    return [found for part in parts for found in others_of(part, player)]


def test_in_no_players_story_stands_more_of_another_player_than_his_id(demo_day):
    """Neither the armband nor the pass of anybody else, nor what stood against him."""
    known = {
        event.data.player: event.data for event in demo_day.events if event.type == "registration.player_registered"
    }
    for player in list(known)[::24]:
        story = tell(demo_day.park, f"player:{player}", demo_day.rows)
        assert not [one for event in story.events for one in others_of(event.data, player)]
        text = msgspec.json.encode(story).decode()
        strangers = [data for other, data in known.items() if other != player]
        assert not [data.day_pass for data in strangers if f'"{data.day_pass}"' in text]
        assert f'"{known[player].day_pass}"' in text


# from a real log


def asked(day, question):
    """A question put to the log that the day left behind."""

    async def put():
        pool = Pool(day.database.url)
        try:
            return await question(Park(day.park, Log(pool, day.park, SystemClock()), SystemClock()))
        finally:
            await pool.close()

    return uvloop.run(put())


@pytest.fixture(scope="module")
def tags(demo_day):
    """Of each kind of subject one with a short story, and the players with the long ones."""
    met = {}
    for event in demo_day.events:
        for tag in event.tags:
            met.setdefault(tag.partition(":")[0], tag)
    violations = ("overshooting", "physical-contact", "playing-on", "blind-fire", "out-of-bounds")
    return [
        *met.values(),
        *(f"player:{cautioned(demo_day, one)}" for one in violations),
        "marker:H011",
        "caution:c-disputed",
    ]


def test_what_is_read_by_tag_tells_the_same_story_as_the_whole_log(demo_day, tags):
    async def stories(park):
        return {tag: await story_of(park, tag) for tag in tags}

    for tag, story in asked(demo_day, stories).items():
        assert story == tell(demo_day.park, tag, demo_day.rows), tag
        assert story.events


@pytest.mark.parametrize("tag", ["field:birch", "park", "player:p022"])
def test_the_parts_that_are_read_make_the_whole(demo_day, tag):
    async def parts(park):
        found, after, more = [], 0, True
        while more:
            part = await story_of(park, tag, Span(after=after, limit=97))
            assert part.events[0].position > after
            found += part.events
            after, more = part.events[-1].position, part.more
        return found

    assert asked(demo_day, parts) == list(tell(demo_day.park, tag, demo_day.rows).events)


def test_a_players_story_reads_his_own_day_and_not_the_log(demo_day):
    async def rows(park):
        return await rows_of(park.log, "player:p022", len(demo_day.rows))

    assert len(asked(demo_day, rows)) < 0.1 * len(demo_day.rows)


def test_as_the_log_stood_before_the_appeal_the_player_was_ejected(demo_day):
    player = cautioned(demo_day, "playing-on")
    upheld = next(event for event in demo_day.events if event.type == "discipline.appeal_decided")
    before = upheld.recorded_at - timedelta(seconds=1)

    async def question(park):
        until = await position_of(park.log, before.isoformat(), "until")
        assert until == await position_of(park.log, f"1:{until}", "until")
        return await story_of(park, f"player:{player}", Span(until=until))

    story = asked(demo_day, question)
    assert story.position < upheld.position
    assert [one.consequence for one in story.events if one.consequence][-1].endswith("the entry is forfeited.")
    assert all(upheld.position not in one.corrected_by for one in story.events)


def test_an_instant_names_the_last_position_recorded_by_then(demo_day):
    moments = [demo_day.events[place].recorded_at for place in (0, 1, 1000, -1)]
    moments += [moments[0] - timedelta(seconds=1), moments[-1] + timedelta(days=1)]

    async def positions(park):
        return [await park.log.position_at(moment) for moment in moments]

    expected = [sum(event.recorded_at <= moment for event in demo_day.events) for moment in moments]
    assert asked(demo_day, positions) == expected
    assert expected[-2:] == [0, len(demo_day.rows)]


@pytest.mark.parametrize(
    ("point", "problem"),
    [("1:999999999", PositionAhead), ("2:5", PositionAhead), ("1:0", PositionAhead), ("noon", InvalidParameter),
     ("2026-05-09T10:00:00", InvalidParameter)],
)  # fmt: skip
def test_a_point_that_is_none_is_refused(demo_day, point, problem):
    with pytest.raises(problem):
        asked(demo_day, lambda park: position_of(park.log, point, "until"))


# finding a player of a past day


def test_a_player_is_found_by_pass_and_by_armband_on_his_day_and_on_no_other(demo_day):
    day = demo_day.events[0].day

    async def both(park):
        return [await by_sign(park, "day_pass", "pass-022", day), await by_sign(park, "armband", "22", day)]

    by_pass, by_armband = asked(demo_day, both)
    assert by_pass == by_armband
    (seen,) = by_pass.players
    assert (seen.player, seen.person, seen.armband, seen.day_pass, seen.group) == (
        "p022",
        "person-022",
        22,
        "pass-022",
        "g04",
    )
    mine = [event for event in demo_day.events if "player:p022" in event.tags]
    assert (seen.first_seen, seen.last_seen) == (mine[0].occurred_at, mine[-1].occurred_at)
    with pytest.raises(UnknownSubject, match="Nobody had armband 22"):
        asked(demo_day, lambda park: by_sign(park, "armband", "22", day - timedelta(days=7)))


def test_a_player_is_found_by_what_happened_on_a_field_though_it_was_told_later(demo_day):
    player = cautioned(demo_day, "out-of-bounds")
    caution = next(event for event in demo_day.events if getattr(event.data, "violation", "") == "out-of-bounds")
    around = timedelta(minutes=1)

    async def question(park):
        return await by_place(park, "quarry", caution.occurred_at - around, caution.occurred_at + around)

    found = asked(demo_day, question)
    assert found.players[0].player == player
    assert [one for one in found.players[0].because if "out of bounds" in one]
    assert [bool(one.because) for one in found.players] == sorted(
        (bool(one.because) for one in found.players), reverse=True
    )


def test_nobody_is_found_where_nothing_happened(demo_day):
    first = demo_day.events[0].recorded_at
    with pytest.raises(UnknownSubject, match="Widen the span"):
        asked(demo_day, lambda park: by_place(park, "birch", first - timedelta(hours=2), first - timedelta(hours=1)))
    with pytest.raises(InvalidParameter):
        asked(demo_day, lambda park: by_place(park, "birch", first, first + timedelta(days=2)))


# over HTTP, and in the terminal


@pytest.fixture(scope="module")
def park(live):
    for command, body in (
        ("registration/register-person", {"person": "ada", "age_band": 18}),
        ("registration/register-player", {"player": "ada-sat", "person": "ada", "day_pass": "LX-1", "armband": 14}),
        ("registration/reissue-pass", {"player": "ada-sat", "day_pass": "LX-2", "fault": "lost"}),
    ):
        assert live.post(command, body).status_code == 201
    return live


def story(park, path, role="auditor"):
    return park.get(f"/parks/{park.park}/audit/stories/{path}", role)


def test_an_auditor_reads_a_story_whose_passes_are_known_to_be_replaced(park):
    answer = story(park, "player/ada-sat")
    told = msgspec.json.decode(answer.content, type=Story)
    assert [one.type for one in told.events] == [
        "registration.person_registered",
        "registration.player_registered",
        "registration.pass_reissued",
    ]
    assert told.events[1].corrected_by == (told.events[2].position,)
    assert (
        told.events[2].sentence == "Player ada-sat was given day pass LX-2; pass LX-1 was lost and no longer names him."
    )
    assert (told.park, told.subject, told.more) == (park.park, "player:ada-sat", False)


def test_a_story_is_read_on_from_where_it_was_cut(park):
    first = story(park, "player/ada-sat?limit=2").json()
    after = first["events"][-1]["position"]
    rest = story(park, f"player/ada-sat?after={after}").json()
    assert (len(first["events"]), first["more"], len(rest["events"]), rest["more"]) == (2, True, 1, False)


def test_the_park_itself_has_a_story_under_its_own_name(park):
    assert park.post("park/record-weather", {"temperature_c": 14}).status_code == 201
    assert story(park, f"park/{park.park}").json()["subject"] == "park"
    assert story(park, "park/elsewhere").status_code == 404


@pytest.mark.parametrize(
    ("path", "status", "word"),
    [
        ("player/nobody", 404, "knows no player nobody"),
        ("weather/ada", 400, "kind"),
        ("player/ada-sat?limit=0", 400, "limit"),
        ("player/ada-sat?order=backwards", 400, "order"),
        ("player/ada-sat?until=1:99999", 422, "holds no such position"),
        ("player/ada-sat?until=yesterday", 400, "neither"),
    ],
)
def test_what_cannot_be_told_says_so(park, path, status, word):
    answer = story(park, path)
    assert answer.status_code == status
    assert word in answer.json()["detail"]


@pytest.mark.parametrize(
    ("role", "status"), [("manager", 200), ("auditor", 200), ("head_referee", 403), ("board", 403)]
)
def test_only_managers_and_auditors_read_stories_and_find_players(park, role, status):
    assert story(park, "player/ada-sat", role).status_code == status
    assert park.get(f"/parks/{park.park}/audit/players?armband=14", role).status_code == status


@pytest.mark.parametrize(
    ("query", "status"),
    [("day_pass=LX-1", 200), ("armband=15", 404), ("armband=14&day_pass=LX-1", 400), ("", 400), ("field=birch", 400),
     ("armband=14&day=2020-01-01", 404), ("armband=14&day=soon", 400),
     ("field=birch&from=0001-01-01T00:00:00Z&to=0001-01-01T01:00:00Z", 400),
     ("field=birch&from=9999-12-31T20:00:00Z&to=9999-12-31T21:00:00Z", 400)],
)  # fmt: skip
def test_players_are_found_over_http(park, query, status):
    answer = park.get(f"/parks/{park.park}/audit/players?{query}", "manager")
    assert answer.status_code == status, answer.text
    if status == 200:
        (seen,) = answer.json()["players"]
        assert (seen["player"], seen["day_pass"]) == ("ada-sat", "LX-2")


@pytest.fixture
def fieldledger(demo_day, tmp_path):
    return terminal(demo_day.database, tmp_path)


def test_a_story_is_read_in_the_terminal(fieldledger, demo_day):
    ran = fieldledger("audit", "story", "player", "p022")
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.startswith("player p022 in larchmoor, as the log stood at 1:")
    assert "So: Player p022 is ejected for the day, and the entry is forfeited." in ran.stdout
    as_json = fieldledger("audit", "story", "player", "p022", "--json", "--order", "happened").stdout
    whole = tell(demo_day.park, "player:p022", demo_day.rows, Span(order="happened"))
    assert msgspec.json.decode(as_json) == msgspec.json.decode(msgspec.json.encode(whole))
    missing = fieldledger("audit", "story", "player", "nobody")
    assert missing.returncode == 1
    assert missing.stderr.startswith("fieldledger: The record of larchmoor knows no player nobody")


def test_a_player_is_found_in_the_terminal(fieldledger, demo_day):
    ran = fieldledger("audit", "find", "--armband", "22", "--day", str(demo_day.events[0].day))
    assert ran.returncode == 0, ran.stderr
    assert "player p022 (person person-022), armband 22, pass pass-022, group g04" in ran.stdout
    assert "Times are Etc/UTC." in ran.stdout
    assert fieldledger("audit", "find", "--armband", "22").stdout == ran.stdout, (
        "the record's own day, not this machine's"
    )
    field = ("--field", "birch", "--from", "2026-05-09T10:00:00Z", "--to", "2026-05-09T11:00:00Z")
    for words in ((), ("--armband", "22", "--day-pass", "pass-022"), ("--armband", "22", *field)):
        assert "name one of" in fieldledger("audit", "find", *words).stderr
    assert "2026-05-09T10:00 is no instant with its offset" in fieldledger(
        "audit", "find", "--field", "birch", "--from", "2026-05-09T10:00", "--to", "2026-05-09T11:00"
    ).stderr  # fmt: skip
    nowhere = fieldledger("audit", "find", "--armband", "22", "--park", "nowhere").stderr
    assert nowhere == "fieldledger: there is no park nowhere in this database. It has: larchmoor.\n"
