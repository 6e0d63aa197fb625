"""An incident's record: what is told of it in any order, what is missing, who has the evidence, what may have to be reported.

The fields of a first-aid record (date, place, person, injury, treatment, outcome) are those of secondary text on first-aid books; the rest is common practice, no source.
"""

from datetime import timedelta
from itertools import permutations

import pytest
from msgspec.structs import replace

from contracts.envelope import Unknown
from contracts.equipment import GearReleased
from contracts.first_aid import EMERGENCY, Finding, Reminder
from contracts.incidents import (
    CloseIncident,
    CustodyPassed,
    CustodyTaken,
    HelpArrived,
    HelpCalled,
    IncidentClosed,
    IncidentRecorded,
    InjuryRecorded,
    NameWitness,
    NotificationRecorded,
    OutcomeRecorded,
    PassCustody,
    RecordHelpCalled,
    RecordIncident,
    RecordInjury,
    RecordNotification,
    RecordOutcome,
    RecordScene,
    RecordTreatment,
    SceneRecorded,
    TakeCustody,
    TreatmentGiven,
    WitnessNamed,
)
from contracts.park import RulesAdopted
from contracts.problems import InvalidBody, NotInThatState, RuleForbids, UnknownSubject
from contracts.rules import IncidentRules, Rules
from services.core.rules import RULES
from services.incidents.custody import chain, holder
from services.incidents.facts import TELLING
from services.incidents.reading import shown, subjects
from services.incidents.record import Release
from services.incidents.reminders import overdue, reminded
from services.incidents.telling import INCIDENT, RELEASES
from tests.unit.desk_day import clock, desk, ready

HOUR = timedelta(hours=1)
HURT = IncidentRecorded(
    incident="i1", kind="injury", field="birch", game="g1", players=("ash",), markers=("m1",), masks=("k1",),
    emergency_services=False,
)  # fmt: skip
WHOLE = (
    HURT,
    InjuryRecorded(incident="i1", player="ash", worker=None, part="ankle", side="left", injury="sprain"),
    TreatmentGiven(incident="i1", player="ash", worker=None, treatment="cooled", staff="wren"),
    OutcomeRecorded(incident="i1", player="ash", worker=None, outcome="rested"),
    SceneRecorded(incident="i1", place="bunker", sky="rain", paint_batch="B-7", bottles=(), tests=("t1",)),
    WitnessNamed(incident="i1", person=None, player="elm", staff=None),
    CustodyTaken(incident="i1", marker="m1", mask="k1", bottle=None, staff="wren", kept="safe"),
)
"""With these nothing is missing."""


@pytest.fixture
def park():
    park = desk()
    ready(park)
    ready(park, "elm")
    return park.at(10)


def asked(park):
    """What the route answers."""
    given = park.load(lambda given: {(RULES, ""), *subjects(given)})
    return shown("test", given, park.state(RULES).rules.incidents, park.now, len(park.events))


def lacks(park, incident="i1"):
    (found,) = [one for one in asked(park).incidents if one.incident == incident]
    return [one.code if one.subject is None else f"{one.code} {one.subject}" for one in found.missing]


def of(park, incident="i1"):
    return park.state(INCIDENT, incident)


# --- what is told of it


@pytest.mark.parametrize(
    ("left_out", "found"),
    [
        (WHOLE[0], ["incident"]),
        (WHOLE[1], ["injury player:ash"]),
        (WHOLE[2], ["treatment player:ash"]),
        (WHOLE[3], ["outcome player:ash"]),
        (WHOLE[4], ["sky", "paint_batch"]),
        (WHOLE[5], ["witnesses"]),
        (WHOLE[6], ["custody marker:m1", "custody mask:k1"]),
    ],
    ids=lambda value: type(value).__name__,
)
def test_whatever_is_left_out_of_a_record_is_missing_and_nothing_else(park, left_out, found):
    assert lacks(park.given(*(one for one in WHOLE if one is not left_out))) == found


def test_of_an_injury_of_which_nobody_told_who_was_hurt_that_is_asked(park):
    assert lacks(park.given(HURT)) == [
        "sky", "witnesses", "paint_batch", "injury", "custody marker:m1", "custody mask:k1",
    ]  # fmt: skip


def test_of_two_casualties_each_is_asked_about_by_himself(park):
    park.given(*WHOLE, InjuryRecorded(incident="i1", player=None, worker="jay", part="knee", side=None, injury="graze"))
    park.given(OutcomeRecorded(incident="i1", player=None, worker=None, outcome="went_home"))
    assert lacks(park) == [
        "treatment worker:jay", "outcome worker:jay", "injury ", "treatment ",
    ]  # fmt: skip


def test_a_whole_record_lacks_nothing(park):
    assert lacks(park.given(*WHOLE)) == []


def test_in_whatever_order_it_is_told_the_record_says_the_same():
    told = [_but_ids(asked(_new(order)).incidents) for order in permutations(WHOLE[:5])]
    assert len(told) == 120
    assert all(one == told[0] for one in told)
    assert told[0][0].casualties[0].injuries == ("left ankle: sprain",)


def _but_ids(incidents):
    """Each event has an id of its own, by when it was told."""
    return [replace(one, entries=tuple(replace(entry, entry="") for entry in one.entries)) for one in incidents]


def _new(events):
    """A park in which the same things happened at the same times, told in this order."""
    park = desk().at(30)
    for one in events:
        park.given(one, occurred_at=clock(WHOLE.index(one)))
    return park


def test_what_is_told_before_the_incident_itself_stands_open_and_says_what_is_missing(park):
    park.when(RecordHelpCalled(incident="i1"))
    (found,) = asked(park).incidents
    assert (found.kind, found.happened_at, found.help[0].called_at) == ("", clock(10), clock(10))
    assert lacks(park) == ["incident", "place", "help_arrived ambulance"]


def test_of_help_that_is_told_twice_the_earliest_time_counts(park):
    park.given(HelpCalled(incident="i1", service="ambulance"), occurred_at=clock(5))
    park.given(HelpCalled(incident="i1", service="ambulance"), occurred_at=clock(3))
    park.given(HelpCalled(incident="i1", service="ambulance"), occurred_at=clock(6))
    park.given(HelpArrived(incident="i1", service="ambulance"), occurred_at=clock(9))
    (found,) = asked(park).incidents
    assert (found.help[0].called_at, found.help[0].arrived_at) == (clock(3), clock(9))


def test_the_latest_look_at_the_scene_counts_and_what_it_leaves_out_stays(park):
    def scene(**more):
        return SceneRecorded(
            **({"incident": "i1", "place": None, "sky": None, "paint_batch": None, "bottles": (), "tests": ()} | more)
        )

    park.given(scene(sky="rain", place="bunker"), occurred_at=clock(8))
    park.given(scene(sky="dry", paint_batch="B-7"), occurred_at=clock(4))
    (found,) = asked(park).incidents
    assert (found.sky, found.place, found.paint_batch) == ("rain", "bunker", "B-7")


@pytest.mark.parametrize("command", TELLING)
def test_each_thing_told_is_recorded_as_it_was_told_under_the_incidents_tag(park, command):
    body = {
        RecordInjury: {"player": "ash", "part": "knee", "injury": "graze"},
        RecordTreatment: {"player": "ash", "treatment": "dressed", "staff": "wren"},
        RecordOutcome: {"player": "ash", "outcome": "played_on"},
        RecordScene: {"sky": "dry"},
        NameWitness: {"person": "rowan"},
        TakeCustody: {"mask": "k1", "staff": "wren", "kept": "safe"},
        PassCustody: {"mask": "k1", "giver": "wren", "outside": "police"},
        RecordNotification: {"reminder": "gb-report"},
    }.get(command, {})
    (event,) = park.when(command(incident="i1", **body))
    assert type(event) is TELLING[command]
    assert {name: getattr(event, name) for name in body} == body
    assert {"incident:i1", "incidents"} <= set(park.events[-1].tags)
    assert command.FACT


@pytest.mark.parametrize(
    ("command", "error", "says"),
    [
        (RecordInjury(incident="i1", player="owl", part="knee", injury="graze"), UnknownSubject, "no player owl"),
        (RecordOutcome(incident="i1", player="ash", worker="wren", outcome="rested"), InvalidBody, "by himself"),
        (NameWitness(incident="i1"), InvalidBody, "Name one witness"),
        (NameWitness(incident="i1", player="elm", staff="wren"), InvalidBody, "Name one witness"),
        (TakeCustody(incident="i1", staff="wren", kept="safe"), InvalidBody, "names no gear"),
        (PassCustody(incident="i1", mask="k1", giver="wren"), InvalidBody, "who took it"),
        (PassCustody(incident="i1", mask="k1", giver="wren", taker="heron", outside="police"), InvalidBody, "who took"),
        (RecordScene(incident="i1"), InvalidBody, "nothing of the scene"),
        (RecordNotification(incident="i1", reminder="fr-report"), RuleForbids, "no reminder fr-report"),
    ],
)
def test_what_names_nothing_or_nobody_known_is_refused(park, command, error, says):
    with pytest.raises(error, match=says):
        park.when(command)


# --- how it ends


def test_a_record_with_nothing_missing_is_closed_and_no_longer_listed(park):
    park.given(*WHOLE)
    assert park.when(CloseIncident(incident="i1")) == (IncidentClosed(incident="i1", missing=()),)
    assert asked(park).incidents == ()


def test_what_is_missing_is_said_and_only_a_manager_who_knows_it_closes_all_the_same(park):
    park.given(*WHOLE[:2])
    with pytest.raises(NotInThatState, match=r"What was done for the casualty.*player ash.*Who saw it|Who saw it.*ash"):
        park.when(CloseIncident(incident="i1"))
    (closed,) = park.when(CloseIncident(incident="i1", incomplete=True))
    assert closed.missing == ("sky", "witnesses", "paint_batch", "treatment", "outcome", "custody")
    assert {"manager"} == CloseIncident.ROLES


def test_whatever_is_told_later_opens_a_closed_incident_again(park):
    park.given(*WHOLE).when(CloseIncident(incident="i1"))
    park.at(60).when(RecordOutcome(incident="i1", player="ash", outcome="saw_a_doctor", occurred_at=clock(12)))
    assert [one.incident for one in asked(park).incidents] == ["i1"]
    assert park.when(CloseIncident(incident="i1"))


def test_a_closed_or_unknown_incident_is_not_closed(park):
    park.given(*WHOLE).when(CloseIncident(incident="i1"))
    with pytest.raises(NotInThatState, match="is closed"):
        park.when(CloseIncident(incident="i1"))
    with pytest.raises(UnknownSubject):
        park.when(CloseIncident(incident="i9"))


def test_the_answer_begins_with_the_emergency_services_and_says_that_the_law_is_local(park):
    answer = asked(park)
    assert answer.first == EMERGENCY == "If anybody is hurt, call the emergency services first: the record comes after."
    assert "depends on local law" in answer.cautions[0]


def test_what_only_a_newer_version_can_read_opens_a_record_and_stands_in_the_way_of_closing_it(park):
    park.given(*WHOLE).when(CloseIncident(incident="i1"))
    newer = Unknown(type="incidents.photo_taken", version=1, why="unknown type or version")
    last = park.events[-1]
    park.record(replace(last, position=last.position + 1, tags=("incident:i1", "incidents"), data=newer))
    assert lacks(park) == ["unreadable"]
    with pytest.raises(NotInThatState, match="cannot read"):
        park.when(CloseIncident(incident="i1"))


# --- the chain of custody: common practice, no source


def taken(piece="k1", staff="wren"):
    return CustodyTaken(incident="i1", marker=None, mask=piece, bottle=None, staff=staff, kept="safe")


def passed(giver, taker=None, outside=None):
    return CustodyPassed(
        incident="i1", marker=None, mask="k1", bottle=None, giver=giver, taker=taker, outside=outside, kept="office"
    )


def gaps(park):
    return [step.gap for step in chain("mask:k1", of(park).handlings, park.state(RELEASES["mask"], "k1"))]


def test_a_chain_in_which_each_hands_on_what_he_had_is_whole_and_ends_with_the_last_taker(park):
    park.given(taken(), passed("wren", "heron"), passed("heron", outside="laboratory"))
    assert gaps(park) == ["", "", ""]
    assert holder("mask:k1", of(park).handlings) == "laboratory"


def test_a_step_told_late_takes_its_place_in_the_chain(park):
    park.given(taken(), occurred_at=clock(1))
    park.given(passed("heron", outside="police"), occurred_at=clock(9))
    assert gaps(park) == ["", "heron passed it on, though wren had it."]
    park.given(passed("wren", "heron"), occurred_at=clock(5))
    assert gaps(park) == ["", "", ""]


@pytest.mark.parametrize(
    ("events", "gap"),
    [
        ((passed("wren", "heron"),), "wren passed it on, though nobody recorded that he took it in."),
        ((taken(), taken(staff="heron")), "heron took it in, though wren had it and passed it to nobody."),
        ((taken(), passed("jay", "heron")), "jay passed it on, though wren had it."),
    ],
)
def test_a_broken_chain_says_where(park, events, gap):
    assert gaps(park.given(*events))[-1] == gap


def test_what_a_manager_released_is_with_nobody_and_may_be_taken_in_anew(park):
    park.given(HURT, taken())
    park.at(20).given(GearReleased(marker=None, mask="k1", bottle=None))
    release = park.state(RELEASES["mask"], "k1")
    assert release == Release("k1", (clock(20), len(park.events)))
    assert holder("mask:k1", of(park).handlings, release) is None
    assert "custody mask:k1" not in lacks(park)
    park.at(30).given(taken(staff="heron"))
    assert gaps(park) == ["", ""]
    assert holder("mask:k1", of(park).handlings, release) == "heron"


# --- what may have to be reported


def told(outcome=None, injury=None, worker=None):
    whom = {"player": None if worker else "ash", "worker": worker}
    if injury:
        return InjuryRecorded(incident="i1", part="eye", side="left", injury=injury, **whom)
    return OutcomeRecorded(incident="i1", outcome=outcome, **whom)


def due(park, **found):
    """Code → how long after the incident at ten past nine; what was found came an hour after it."""
    park.given(HURT)
    park.at(70).given(told(**found))
    return {one.reminder.code: one.by - clock(10) for one in reminded(of(park), IncidentRules())}


# 29 CFR 1904.39(a)(1) and (2): a fatality within 8 hours after the death; an in-patient hospitalization, an amputation, the loss of an eye
# within 24 hours after it; of employees only.


def test_a_workers_death_within_eight_hours_of_it(park):
    assert due(park, outcome="died", worker="wren")["us-fatality"] == 9 * HOUR


@pytest.mark.parametrize(
    "found", [{"outcome": "admitted_to_hospital"}, {"injury": "amputation"}, {"injury": "loss_of_an_eye"}]
)
def test_a_workers_admission_amputation_or_loss_of_an_eye_within_twenty_four_hours_of_it(park, found):
    assert due(park, worker="wren", **found)["us-severe-injury"] == 25 * HOUR


@pytest.mark.parametrize(
    "found", [{"outcome": "died"}, {"outcome": "admitted_to_hospital"}, {"injury": "loss_of_an_eye"}]
)
def test_of_a_player_those_two_ask_nothing(park, found):
    assert not {"us-fatality", "us-severe-injury"} & due(park, **found).keys()


# RIDDOR 2013 (SI 2013/1471), regulations 4 to 6 and schedule 1 part 1: without delay, and a report within 10 days of the incident; a worker's
# incapacity for over seven days within 15 days of the accident; of somebody not at work, when he is taken from the site to a hospital for treatment.


def test_a_player_taken_straight_to_hospital_without_delay_and_within_ten_days_of_the_incident(park):
    assert due(park, outcome="taken_to_hospital") == {"gb-notice": 0 * HOUR, "gb-report": 240 * HOUR}


def test_a_worker_off_work_for_over_seven_days_within_fifteen_days_of_the_accident(park):
    assert due(park, outcome="off_work_over_seven_days", worker="wren") == {"gb-seven-days": 15 * 24 * HOUR}


@pytest.mark.parametrize("found", [{"outcome": "played_on"}, {"outcome": "went_home"}, {"injury": "bruise"}])
def test_a_bruise_asks_for_no_report(park, found):
    assert due(park, **found) == {}


def test_a_worker_taken_to_hospital_and_sent_home_is_no_visitor(park):
    assert due(park, outcome="taken_to_hospital", worker="wren") == {}


def test_a_report_is_overdue_only_after_its_hour_and_not_once_it_was_made(park):
    park.given(HURT, told(outcome="died", worker="wren"))
    rules = IncidentRules(
        reminders=(Reminder(code="insurer", title="", findings=(Finding(who="anybody", what="died"),), hours=8),)
    )
    at = clock(10) + 8 * HOUR
    assert overdue(of(park), rules, at) == ()
    assert [one.reminder.code for one in overdue(of(park), rules, at + timedelta(microseconds=1))] == ["insurer"]
    park.given(NotificationRecorded(incident="i1", reminder="insurer"))
    assert overdue(of(park), rules, at + 100 * HOUR) == ()


def test_a_report_that_was_not_made_is_missing_until_it_is_recorded(park):
    park.given(*WHOLE, OutcomeRecorded(incident="i1", player="ash", worker=None, outcome="taken_to_hospital"))
    assert lacks(park) == ["help_called", "notification gb-notice", "notification gb-report"]
    park.when(RecordNotification(incident="i1", reminder="gb-notice"))
    assert lacks(park) == ["help_called", "notification gb-report"]
    (found,) = asked(park).incidents
    assert [(one.code, one.notified_at, one.because) for one in found.reminders] == [
        ("gb-notice", clock(10), ("taken_to_hospital",)),
        ("gb-report", None, ("taken_to_hospital",)),
    ]


def test_a_park_keeps_the_reminders_that_apply_where_it_is(park):
    park.given(RulesAdopted(rules=Rules(version="here", incidents=IncidentRules(reminders=()))))
    park.given(*WHOLE, OutcomeRecorded(incident="i1", player="ash", worker=None, outcome="died"))
    assert asked(park).incidents[0].reminders == ()
    with pytest.raises(RuleForbids, match="They have: none"):
        park.when(RecordNotification(incident="i1", reminder="gb-report"))


def test_only_a_manager_says_that_it_was_reported_and_anybody_of_staff_tells_the_rest():
    assert {"manager"} == RecordNotification.ROLES
    assert all(command.ROLES == RecordIncident.ROLES for command in TELLING if command is not RecordNotification)
