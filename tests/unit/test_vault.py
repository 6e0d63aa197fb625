"""What keeps a person's data where they are, and when they may go.

The claims period is a rule of the park, no law: common practice, no source. Its dates are worked out by hand beside each test.
"""

from datetime import UTC, date, datetime, timedelta
from functools import partial
from uuid import UUID

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contracts.envelope import Basis, Unknown
from contracts.incidents import IncidentRecorded, InjuryRecorded, WitnessNamed
from contracts.park import RulesAdopted
from contracts.problems import AlreadyRecorded, InvalidBody, NotAllowed, NotInThatState, UnknownSubject
from contracts.registration import AgeBandRenewed, ConsentGiven, PersonRegistered, PlayerRegistered
from contracts.rules import Rules, VaultRules
from contracts.vault import (
    RECORDERS,
    About,
    DetailKept,
    ErasePerson,
    ErasureReapplied,
    ErasureRefused,
    KeepDetail,
    LegalHoldLifted,
    LegalHoldPlaced,
    LiftLegalHold,
    PersonErased,
    PlaceLegalHold,
)
from services.core.command import Handler
from services.vault import api, model
from services.vault.claims import latest_majority, years_after
from tests.unit.scenario import NINE, Scenario

DIGEST = "ab" * 32
TODAY = NINE.date()
NO_CLAIMS = RulesAdopted(rules=Rules(version="no-claims", vault=VaultRules(claims_years=0)))


@pytest.fixture
def park():
    keep = Handler(KeepDetail, api._keeping, partial(model.keep_detail, digest=DIGEST))
    return Scenario((*api.SERVICE.handlers, api.ERASE, keep))


def person(park, name, band=18):
    return park.given(PersonRegistered(person=name, age_band=band))


def came(park, name, player="", band=18):
    return park.given(
        PlayerRegistered(
            player=player or f"{name}-today",
            person=name,
            group=None,
            part="player",
            age_band=band,
            day_pass=f"pass-{name}",
            armband=7,
            briefing_due=1,
        )
    )


def hurt(park, *players, incident="incident-1", kind="injury"):
    return park.given(
        IncidentRecorded(
            incident=incident,
            kind=kind,
            field=None,
            game=None,
            players=players,
            markers=(),
            masks=(),
            emergency_services=False,
        )
    )


def consented(park, child, guardian):
    return park.given(
        ConsentGiven(
            person=child, guardian=guardian, relationship="parent", wording="w1", on_site=True, responsible=None
        )
    )


def on(park, day, hour=9):
    """The scenario at this hour of a day, UTC, which is also this park's own time."""
    moment = datetime(day.year, day.month, day.day, hour, tzinfo=UTC)
    return park.at((moment - NINE) / timedelta(minutes=1))


def erased(park, name):
    """The event that an erasure comes to."""
    (event,) = park.when(ErasePerson(person=name))
    return event


def codes(refused):
    assert isinstance(refused, ErasureRefused)
    return [one.code for one in refused.reasons]


def note(name="ash", entry="d1", kind="note", text="Asked for his own mask.", **more):
    return KeepDetail(person=name, entry=entry, kind=kind, text=text, **more)


def test_a_detail_is_on_the_record_by_its_digest_and_never_by_its_text(park):
    (kept,) = person(park, "ash").when(note(about=About(caution="c1")))
    assert kept == DetailKept(person="ash", entry="d1", kind="note", digest=DIGEST, about=About(caution="c1"))
    assert park.events[-1].tags == ("person:ash", "detail:d1", "caution:c1")
    assert b"mask" not in msgspec.json.encode(park.events[-1])


def test_the_name_of_a_detail_is_taken_once(park):
    person(park, "ash").when(note())
    with pytest.raises(AlreadyRecorded):
        park.when(note(text="Something else."))


def test_nothing_is_kept_about_somebody_whom_nobody_knows(park):
    with pytest.raises(UnknownSubject):
        park.when(note("nobody"))


@pytest.mark.parametrize("kind", RECORDERS)
@pytest.mark.parametrize("role", ["desk", "first_aider", "head_referee", "manager"])
def test_each_kind_is_recorded_by_whom_it_concerns(park, kind, role):
    person(park, "ash")
    command = note(kind=kind, text="2001-02-28" if kind == "birth_date" else "x")
    if role in RECORDERS[kind]:
        assert park.when(command, role)
    else:
        with pytest.raises(NotAllowed):
            park.when(command, role)


def test_a_first_aider_writes_medical_notes_and_no_names(park):
    person(park, "ash")
    assert park.when(note(kind="medical"), "first_aider")
    with pytest.raises(NotAllowed):
        park.when(note(entry="d2", kind="name"), "first_aider")


@pytest.mark.parametrize(
    "text", ["2001-02-29", "28.2.2001", "20010228", "2001-W09-3", "2026-05-10", "Ash", "0000-01-01"]
)
def test_a_birth_date_is_a_date_that_has_been_and_the_refusal_does_not_repeat_it(park, text):
    person(park, "ash")
    with pytest.raises(InvalidBody) as refused:
        park.when(note(kind="birth_date", text=text))
    assert text not in refused.value.detail


@pytest.mark.parametrize("text", ["2026-05-09", "2004-02-29", "1926-01-01"])
def test_a_birth_date_may_be_any_day_until_today(park, text):
    assert person(park, "ash").when(note(kind="birth_date", text=text))


def test_whoever_never_came_is_erased_when_a_manager_asks(park):
    granted = erased(person(park, "ash"), "ash")
    assert granted == PersonErased(basis=Basis(now=NINE, rules="default", position=1), person="ash")
    assert park.events[-1].tags == ("person:ash", "erasures")


def test_an_adult_is_kept_through_the_third_year_after_his_last_visit_and_can_go_the_day_after(park):
    """He came on 9 May 2026: claims may come through 9 May 2029."""
    came(person(park, "ash"), "ash")
    (reason,) = erased(on(park, date(2029, 5, 9), 23), "ash").reasons
    assert reason.code == "claims_period"
    assert "through 2029-05-09" in reason.sentence
    assert "local law" in reason.sentence
    assert codes(erased(on(park, date(2029, 5, 10), 3), "ash")) == ["claims_period"]  # the operating day runs to four
    assert isinstance(erased(on(park, date(2029, 5, 10), 4), "ash"), PersonErased)


def test_the_years_run_anew_from_each_visit(park):
    came(person(park, "ash"), "ash")
    came(on(park, date(2027, 8, 1)), "ash", "ash-2")
    assert codes(erased(on(park, date(2030, 8, 1)), "ash")) == ["claims_period"]
    assert isinstance(erased(on(park, date(2030, 8, 2)), "ash"), PersonErased)


@pytest.mark.parametrize(
    ("band", "through"),
    [
        (16, date(2031, 5, 9)),
        (14, date(2033, 5, 9)),
        (12, date(2035, 5, 9)),
        (8, date(2039, 5, 9)),
        (0, date(2047, 5, 9)),
    ],
)
def test_a_minor_is_kept_for_three_years_from_the_latest_day_on_which_he_can_come_of_age(park, band, through):
    """Twelve on 9 May 2026 he is eighteen on 9 May 2032 at the latest: through 9 May 2035."""
    came(person(park, "ash", band), "ash", band=band)
    (reason,) = erased(on(park, through), "ash").reasons
    assert f"through {through}" in reason.sentence
    assert isinstance(erased(on(park, through + timedelta(days=1)), "ash"), PersonErased)


def test_a_higher_band_that_is_recorded_later_brings_majority_nearer(park):
    """Sixteen in May 2026 is eighteen by May 2028; recorded as eighteen on 1 June 2027 he is so by then: through 1 June 2030."""
    came(person(park, "ash", 16), "ash", band=16)
    on(park, date(2027, 6, 1)).given(AgeBandRenewed(person="ash", player=None, age_band=18))
    came(park, "ash", "ash-2")
    assert codes(erased(on(park, date(2030, 6, 1)), "ash")) == ["claims_period"]
    assert isinstance(erased(on(park, date(2030, 6, 2)), "ash"), PersonErased)


def test_the_rules_in_force_when_it_is_asked_say_how_many_years(park):
    came(person(park, "ash"), "ash")
    park.given(RulesAdopted(rules=Rules(version="ten", vault=VaultRules(claims_years=10))))
    (reason,) = erased(on(park, date(2036, 5, 9)), "ash").reasons
    assert "through 2036-05-09, by the park rules ten" in reason.sentence
    park.given(NO_CLAIMS)
    assert isinstance(erased(park, "ash"), PersonErased)


def test_where_majority_comes_at_twenty_one_whoever_is_eighteen_may_have_three_years_to_go(park):
    """Eighteen on 9 May 2026, twenty-one by 9 May 2029: through 9 May 2032."""
    came(person(park, "ash"), "ash")
    park.given(RulesAdopted(rules=Rules(version="later", vault=VaultRules(majority_years=21))))
    assert codes(erased(on(park, date(2032, 5, 9)), "ash")) == ["claims_period"]
    assert isinstance(erased(on(park, date(2032, 5, 10)), "ash"), PersonErased)


def test_a_guardian_is_kept_as_long_as_the_child_he_signed_for(park):
    person(person(park, "ash", 12), "rowan")
    came(consented(park, "ash", "rowan"), "ash", band=12)
    (reason,) = erased(on(park, date(2035, 5, 9)), "rowan").reasons
    assert (reason.code, reason.subject) == ("claims_period", "person:ash")
    assert "It concerns ash, for whom this person consented." in reason.sentence
    assert isinstance(erased(on(park, date(2035, 5, 10)), "rowan"), PersonErased)


def test_a_child_is_not_kept_because_of_its_guardian(park):
    came(person(person(park, "ash", 12), "rowan"), "rowan")
    consented(park, "ash", "rowan")
    assert isinstance(erased(park, "ash"), PersonErased)


def test_a_legal_hold_blocks_until_it_is_lifted_and_says_why(park):
    person(person(park, "ash"), "elm").given(NO_CLAIMS)
    park.when(PlaceLegalHold(hold="h1", persons=("ash", "elm"), cause="legal_proceedings"))
    (reason,) = erased(park, "ash").reasons
    assert (reason.code, reason.subject) == ("legal_hold", "legal_hold:h1")
    assert "legal proceedings" in reason.sentence
    (lifted,) = park.when(LiftLegalHold(hold="h1"))
    assert lifted == LegalHoldLifted(hold="h1", incident=None, persons=("ash", "elm"))
    assert isinstance(erased(park, "ash"), PersonErased)
    assert isinstance(erased(park, "elm"), PersonErased)


def test_every_hold_and_the_claims_period_are_named_at_once(park):
    came(person(park, "ash"), "ash")
    hurt(park, "ash-today")
    park.when(PlaceLegalHold(hold="h1", persons=("ash",), incident="incident-1", cause="claim"))
    park.when(PlaceLegalHold(hold="h2", persons=("ash",), cause="insurer"))
    assert codes(erased(park, "ash")) == ["legal_hold", "legal_hold", "injury_hold", "claims_period"]
    park.when(LiftLegalHold(hold="h1"))
    assert codes(erased(park, "ash")) == ["legal_hold", "injury_hold", "claims_period"]


def test_whoever_was_in_a_recorded_injury_is_on_hold_of_itself_until_a_manager_lifts_it(park):
    for name in ("ash", "elm", "oak"):
        came(person(park, name), name)
    hurt(park.given(NO_CLAIMS), "ash-today", "elm-today")
    (reason,) = erased(park, "ash").reasons
    assert (reason.code, reason.subject) == ("injury_hold", "incident:incident-1")
    assert isinstance(erased(park, "oak"), PersonErased)
    (lifted,) = park.when(LiftLegalHold(incident="incident-1"))
    assert lifted == LegalHoldLifted(hold=None, incident="incident-1", persons=("ash", "elm"))
    assert isinstance(erased(park, "ash"), PersonErased)


def test_an_injury_told_again_after_its_hold_was_lifted_holds_again(park):
    hurt(came(person(park, "ash"), "ash").given(NO_CLAIMS), "ash-today")
    park.when(LiftLegalHold(incident="incident-1"))
    hurt(park, "ash-today")
    assert codes(erased(park, "ash")) == ["injury_hold"]


def test_an_injury_on_another_day_holds_the_same_person(park):
    came(came(person(park, "ash"), "ash", "ash-1"), "ash", "ash-2").given(NO_CLAIMS)
    hurt(park, "ash-1")
    assert codes(erased(park, "ash")) == ["injury_hold"]


@pytest.mark.parametrize("kind", ["near_miss", "property", "missing_person"])
def test_an_incident_that_hurt_nobody_holds_nobody(park, kind):
    hurt(came(person(park, "ash"), "ash").given(NO_CLAIMS), "ash-today", kind=kind)
    assert isinstance(erased(park, "ash"), PersonErased)
    with pytest.raises(NotInThatState):
        park.when(LiftLegalHold(incident="incident-1"))


@pytest.mark.parametrize(
    "told",
    [
        WitnessNamed(incident="incident-1", person="oak", player=None, staff=None),
        WitnessNamed(incident="incident-1", person=None, player="oak-today", staff=None),
        InjuryRecorded(incident="incident-1", player="oak-today", worker=None, part="hand", side=None, injury="cut"),
        DetailKept(person="oak", entry="d1", kind="note", digest=DIGEST, about=About(incident="incident-1")),
    ],
    ids=["a person", "a player", "a casualty", "a statement"],
)
def test_a_witness_and_what_he_stated_stay_with_the_incident_until_a_manager_lifts_its_hold(park, told):
    came(came(person(person(park, "ash"), "oak"), "ash"), "oak").given(NO_CLAIMS)
    hurt(park, "ash-today").given(told)
    (reason,) = erased(park, "oak").reasons
    assert (reason.code, reason.subject) == ("injury_hold", "incident:incident-1")
    (lifted,) = park.when(LiftLegalHold(incident="incident-1"))
    assert set(lifted.persons) == {"ash", "oak"}
    assert isinstance(erased(park, "oak"), PersonErased)


def test_a_statement_kept_before_anybody_recorded_the_incident_is_held_and_can_be_let_go(park):
    person(park, "oak").when(note("oak", about=About(incident="incident-1")))
    assert codes(erased(park, "oak")) == ["injury_hold"]
    park.when(LiftLegalHold(incident="incident-1"))
    assert isinstance(erased(park, "oak"), PersonErased)


def test_a_note_about_something_else_holds_nobody(park):
    person(park, "oak").when(note("oak", about=About(caution="c1")))
    assert isinstance(erased(park, "oak"), PersonErased)


def test_a_hold_on_a_child_holds_the_guardian_too(park):
    came(person(person(park, "ash", 12), "rowan"), "ash", band=12)
    hurt(consented(park, "ash", "rowan").given(NO_CLAIMS), "ash-today")
    (reason,) = erased(park, "rowan").reasons
    assert reason.code == "injury_hold"
    assert "It concerns ash" in reason.sentence


@pytest.mark.parametrize(
    ("command", "error"),
    [
        (LiftLegalHold(), InvalidBody),
        (LiftLegalHold(hold="h1", incident="incident-1"), InvalidBody),
        (LiftLegalHold(hold="h9"), UnknownSubject),
        (LiftLegalHold(incident="incident-9"), UnknownSubject),
        (PlaceLegalHold(hold="h1", persons=("ash",), cause="claim"), AlreadyRecorded),
        (PlaceLegalHold(hold="h2", persons=("nobody",), cause="claim"), UnknownSubject),
        (PlaceLegalHold(hold="h2", persons=("ash",), incident="incident-9", cause="claim"), UnknownSubject),
    ],
)
def test_a_hold_that_makes_no_sense_is_refused(park, command, error):
    person(park, "ash").when(PlaceLegalHold(hold="h1", persons=("ash",), cause="claim"))
    with pytest.raises(error):
        park.when(command)


def test_a_hold_is_lifted_once(park):
    person(park, "ash").given(LegalHoldPlaced(hold="h1", persons=("ash",), incident=None, cause="claim"))
    park.when(LiftLegalHold(hold="h1"))
    with pytest.raises(NotInThatState):
        park.when(LiftLegalHold(hold="h1"))


@pytest.mark.parametrize(
    "gone",
    [
        PersonErased(basis=Basis(now=NINE, rules="default", position=1), person="ash"),
        ErasureReapplied(person="ash", erasure=UUID(int=7), erased_at=NINE),
    ],
)
@pytest.mark.parametrize(
    "command",
    [note(), ErasePerson(person="ash"), PlaceLegalHold(hold="h1", persons=("ash",), cause="claim")],
)
def test_whoever_is_erased_stays_so_and_nothing_is_kept_about_him_again(park, gone, command):
    person(park, "ash").given(gone)
    with pytest.raises(NotInThatState, match="erased"):
        park.when(command)


def test_an_erasure_of_which_the_log_has_lost_the_person_stands_all_the_same(park):
    park.given(ErasureReapplied(person="ash", erasure=UUID(int=7), erased_at=NINE))
    with pytest.raises(NotInThatState):
        park.when(ErasePerson(person="ash"))


@pytest.mark.parametrize("tag", ["person:ash", "player:ash-today"])
def test_what_cannot_be_read_may_be_a_hold_so_nothing_is_erased(park, tag):
    came(person(park, "ash"), "ash").given(NO_CLAIMS)
    unknown = Unknown(type="vault.hold_of_tomorrow", version=1, why="unknown type or version")
    park.record(msgspec.structs.replace(park.events[-1], tags=(tag,), data=unknown))
    assert codes(erased(park, "ash")) == ["life_not_understood"]


def test_a_leap_day_is_kept_to_the_first_of_march():
    assert years_after(date(2028, 2, 29), 3) == date(2031, 3, 1)
    assert years_after(date(2028, 2, 29), 4) == date(2032, 2, 29)


@given(
    born=st.dates(date(1950, 1, 1), date(2025, 12, 31)),
    visits=st.lists(st.integers(0, 30 * 365), min_size=1, max_size=4),
)
def test_nobody_comes_of_age_after_the_day_that_his_age_bands_say_at_the_latest(born, visits):
    """Against the birth date itself, which the log never knows."""
    recorded = [born + timedelta(days=days) for days in visits]
    bands = (0, 8, 10, 12, 14, 16, 18)
    ages = [(day, max(band for band in bands if years_after(born, band) <= day)) for day in recorded]
    assert years_after(born, 18) <= latest_majority(ages, 18)
