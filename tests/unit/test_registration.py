"""The desk: who is here, under which pass and number, briefed, of age, not banned, and who has left.

Common practice, no source, unless a test names one.
"""

from datetime import timedelta

import msgspec
import pytest

from contracts.games import ConfigureField
from contracts.problems import AlreadyRecorded, NotInThatState, RuleForbids, UnknownSubject
from contracts.registration import (
    AgeBandRenewed,
    AssignRotation,
    BanLifted,
    BanPerson,
    HandOverMinor,
    HoldBriefing,
    LiftBan,
    MinorHandedOver,
    PassReissued,
    PersonBanned,
    PlayerRegistered,
    RecordGuardianLeft,
    RecordLeft,
    RecordPayment,
    RecordReturn,
    RegisterGroup,
    RegisterPerson,
    ReissuePass,
    RenewAgeBand,
    RotationAssigned,
)
from contracts.rules import WaiverRules
from services.registration.states import PLAYER
from tests.unit.desk_day import adopt, came, clock, codes, consent, desk, hear, pay, person, ready, reasons, sign
from tests.unit.scenario import NINE

TODAY = NINE.date()
DAY = 24 * 60


@pytest.fixture
def park():
    return desk()


def test_whoever_paid_signed_and_was_briefed_lacks_nothing_of_the_desk(park):
    ready(park)
    assert codes(park) == []


def test_an_adult_hears_at_once_all_that_he_lacks(park):
    person(park, "ash")
    came(park, "ash")
    assert codes(park) == ["entry_unpaid", "waiver_missing", "briefing_missing"]


@pytest.mark.parametrize("part", ["referee", "photographer", "chaperone"])
def test_whoever_does_not_play_signs_and_is_briefed_but_pays_no_entry_and_may_be_below_the_floor(park, part):
    person(park, "kit", 10)
    came(park, "kit", part=part)
    assert codes(park, "kit") == ["waiver_missing", "consent_missing", "briefing_missing"]


def test_nobody_is_known_who_was_not_registered_for_the_day(park):
    assert codes(park, "owl") == ["unknown_player"]
    ready(park)
    assert codes(park.at(DAY)) == ["unknown_player"]


def test_one_person_is_one_player_a_day(park):
    ready(park)
    with pytest.raises(AlreadyRecorded, match=r"is player ash that day\. If he left and came back, record his return"):
        came(park, "elm", person="person-ash")
    came(park.at(DAY), "elm", person="person-ash")
    assert park.state(PLAYER, "elm").day == TODAY + timedelta(days=1)


def test_a_registration_for_yesterday_frees_neither_todays_person_nor_todays_number(park):
    ready(park.at(DAY))
    person(park, "elm")
    came(park, "elm", person="person-ash", occurred_at=NINE)
    with pytest.raises(AlreadyRecorded, match="is player ash that day"):
        came(park, "owl", person="person-ash")
    came(park, "kit", person="person-elm", armband=1, occurred_at=NINE)
    with pytest.raises(AlreadyRecorded, match=r"Armband 1 is worn by someone else that day\. Take another"):
        came(park, "owl", person="person-elm", armband=1)


def test_an_armband_number_is_worn_once_a_day_and_is_free_on_the_next(park):
    ready(park)
    person(park, "elm")
    with pytest.raises(AlreadyRecorded, match="Armband 1 is worn"):
        came(park, "elm", armband=1)
    came(park.at(DAY), "elm", armband=1)
    assert park.state(PLAYER, "elm").armband == 1


def test_what_is_registered_is_known_by_one_name(park):
    ready(park)
    person(park, "elm")
    park.when(RegisterGroup(group="g1", size=4))
    for again, name in [
        (lambda: park.when(RegisterPerson(person="person-ash", age_band=18)), "person person-ash"),
        (lambda: park.when(RegisterGroup(group="g1", size=5)), "group g1"),
        (lambda: came(park, "elm", player="ash"), "player ash"),
        (lambda: came(park, "elm", day_pass="pass-1"), "pass pass-1"),  # noqa: S106
    ]:
        with pytest.raises(AlreadyRecorded, match=f"{name} is already recorded"):
            again()


def test_an_arrival_names_a_person_and_a_group_that_are_known(park):
    with pytest.raises(UnknownSubject, match="no person person-ash"):
        came(park, "ash")
    person(park, "ash")
    with pytest.raises(UnknownSubject, match="no group g9"):
        came(park, "ash", group="g9")
    park.when(RegisterGroup(group="g9", size=4))
    came(park, "ash", group="g9")
    assert park.state(PLAYER, "ash").group == "g9"


def test_a_new_pass_replaces_the_old_and_a_strangers_is_told_from_both(park):
    ready(park)
    ready(park, "elm")
    (reissued,) = park.when(ReissuePass(player="ash", day_pass="pass-77", fault="lost"))  # noqa: S106
    assert reissued == PassReissued(player="ash", day_pass="pass-77", replaces="pass-1", fault="lost")  # noqa: S106
    assert codes(park, day_pass="pass-77") == []  # noqa: S106
    assert codes(park, day_pass="pass-1") == ["pass_replaced"]  # noqa: S106
    assert codes(park, day_pass="pass-2") == ["pass_unknown"]  # noqa: S106
    assert codes(park, day_pass="pass-99") == ["pass_unknown"]  # noqa: S106


def test_a_pass_is_not_given_twice(park):
    ready(park)
    ready(park, "elm")
    for taken in ("pass-1", "pass-2"):
        with pytest.raises(AlreadyRecorded, match=f"pass {taken} is already recorded"):
            park.when(ReissuePass(player="ash", day_pass=taken, fault="lost"))
    park.when(ReissuePass(player="ash", day_pass="pass-77", fault="lost"))  # noqa: S106
    with pytest.raises(AlreadyRecorded, match="pass pass-77"):
        came(park, "owl", person=person(park, "owl"), day_pass="pass-77")  # noqa: S106
    with pytest.raises(UnknownSubject, match="no player nobody"):
        park.when(ReissuePass(player="nobody", day_pass="pass-78", fault="lost"))  # noqa: S106


def test_a_player_is_old_enough_exactly_at_the_fields_floor(park):
    ready(park, "kit", 12)
    ready(park, "wren", 10)
    assert "too_young" not in codes(park, "kit")
    assert "too_young" in codes(park, "wren")
    assert "too_young" not in codes(park, "wren", "fern")


def test_an_age_band_rises_and_whoever_is_here_is_older_at_once(park):
    ready(park, "kit", 10)
    person(park, "mum")
    consent(park)
    assert codes(park, "kit") == ["too_young"]
    renew = RenewAgeBand(person="person-kit", age_band=12)
    assert park.when(renew) == (AgeBandRenewed(person="person-kit", player="kit", age_band=12),)
    assert codes(park, "kit") == []
    for band in (12, 8):
        with pytest.raises(NotInThatState, match=r"12 or over already\. An age band only rises"):
            park.when(RenewAgeBand(person="person-kit", age_band=band))
    with pytest.raises(UnknownSubject, match="no person person-owl"):
        park.when(RenewAgeBand(person="person-owl", age_band=18))


def test_an_age_band_that_rose_before_the_visit_is_the_one_he_comes_with(park):
    person(park, "kit", 16)
    park.when(RenewAgeBand(person="person-kit", age_band=18))
    came(park, "kit")
    assert park.state(PLAYER, "kit").age_band == 18


def test_rules_and_fields_know_only_ages_that_the_age_bands_tell_apart():
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"majority_years": 15}, WaiverRules)
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"majority_years": 21}, WaiverRules)
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert({"field": "f", "title": "F", "age_floor": 19}, ConfigureField)
    assert msgspec.convert({"majority_years": 16}, WaiverRules).majority_years == 16


def test_a_new_briefing_binds_who_arrives_after_it_and_not_who_was_here(park):
    ready(park)
    adopt(park, "r2", briefing={"version": 2})
    ready(park, "elm")
    assert codes(park, "ash") == []
    assert codes(park, "elm") == ["briefing_outdated"]
    hear(park, "elm", version=2)
    assert codes(park, "elm") == []


def test_an_urgent_briefing_binds_everybody(park):
    ready(park)
    adopt(park, "r2", briefing={"version": 2, "urgent_version": 2})
    assert codes(park) == ["briefing_outdated"]
    hear(park, "ash", version=2)
    assert codes(park) == []


def test_an_urgent_version_reaches_only_as_far_as_it_says(park):
    ready(park)
    adopt(park, "r2", briefing={"version": 2})
    ready(park, "elm")
    hear(park, "elm", version=2)
    adopt(park, "r3", briefing={"version": 3, "urgent_version": 2})
    assert codes(park, "ash") == ["briefing_outdated"]
    assert codes(park, "elm") == []


def test_a_later_hearing_of_an_old_version_takes_nothing_away(park):
    ready(park)
    adopt(park, "r2", briefing={"version": 2, "urgent_version": 2})
    hear(park.at(5), "ash", version=2)
    hear(park.at(6), "ash", version=1)
    assert codes(park) == []


def test_a_briefing_is_of_a_version_that_the_park_has_had(park):
    ready(park)
    with pytest.raises(RuleForbids, match="no briefing version 2; the newest is 1"):
        hear(park, "ash", version=2)
    adopt(park, "r2", briefing={"version": 2})
    adopt(park.at(10), "r3", briefing={"version": 1})
    hear(park.at(20), "ash", version=2, occurred_at=clock(5))
    assert codes(park) == []
    with pytest.raises(UnknownSubject, match="no player owl"):
        hear(park, "ash", "owl")


def test_players_are_put_into_a_rotation_on_a_field_that_there_is(park):
    ready(park)
    assigned = park.when(AssignRotation(rotation="green", field="birch", players=("ash",)))
    assert assigned == (RotationAssigned(rotation="green", field="birch", players=("ash",)),)
    with pytest.raises(UnknownSubject, match="no field moon"):
        park.when(AssignRotation(rotation="green", field="moon", players=("ash",)))
    with pytest.raises(UnknownSubject, match="no player owl"):
        park.when(AssignRotation(rotation="green", field="birch", players=("ash", "owl")))


@pytest.mark.parametrize(
    "command",
    [
        RecordPayment(payment="x", players=("ash", "elm", "ash"), purpose="entry", means="cash", amount_minor=1),
        HoldBriefing(briefing="x", version=1, players=("ash", "elm", "ash")),
        AssignRotation(rotation="x", field="birch", players=("ash", "elm", "ash")),
        RecordGuardianLeft(players=("ash", "elm", "ash"), guardian="person-ash"),
    ],
    ids=lambda command: type(command).__name__,
)
def test_nobody_stands_on_a_list_twice(park, command):
    ready(park)
    ready(park, "elm")
    with pytest.raises(RuleForbids, match="More than once on the list: ash"):
        park.when(command)


def test_whoever_has_left_is_not_cleared_until_his_return_is_recorded(park):
    ready(park)
    park.at(60).when(RecordLeft(player="ash"))
    assert codes(park) == ["left_park"]
    park.at(90).when(RecordReturn(player="ash"))
    assert codes(park) == []
    assert park.state(PLAYER, "ash").here_since == clock(90)
    park.at(120).when(RecordLeft(player="ash"))
    assert codes(park) == ["left_park"]


def test_a_leaving_told_late_does_not_undo_the_return_after_it(park):
    ready(park)
    park.at(60).when(RecordLeft(player="ash"))
    park.at(90).when(RecordReturn(player="ash"))
    park.at(100).when(RecordLeft(player="ash", occurred_at=clock(55)))
    assert codes(park) == []
    park.when(RecordLeft(player="ash", occurred_at=clock(95)))
    assert codes(park) == ["left_park"]


def test_a_return_from_before_the_leaving_is_refused_and_one_at_the_same_minute_is_not(park):
    ready(park)
    park.at(60).when(RecordLeft(player="ash"))
    with pytest.raises(NotInThatState, match="left at 10:00 UTC, after the return"):
        park.at(70).when(RecordReturn(player="ash", occurred_at=clock(59)))
    park.when(RecordLeft(player="ash", occurred_at=clock(55)))
    with pytest.raises(NotInThatState, match="left at 10:00 UTC, after the return"):
        park.when(RecordReturn(player="ash", occurred_at=clock(57)))
    park.when(RecordReturn(player="ash", occurred_at=clock(60)))
    assert codes(park) == []


def test_only_who_left_today_returns(park):
    ready(park)
    with pytest.raises(NotInThatState, match="not recorded as having left today"):
        park.when(RecordReturn(player="ash"))
    park.at(60).when(RecordLeft(player="ash"))
    with pytest.raises(NotInThatState, match="On another day register him anew"):
        park.at(DAY).when(RecordReturn(player="ash"))
    for command in (RecordReturn(player="owl"), RecordLeft(player="owl"), HandOverMinor(player="owl", adult="x")):
        with pytest.raises(UnknownSubject, match="no player owl"):
            park.when(command)


def test_a_minor_does_not_just_leave_but_is_handed_to_a_named_adult(park):
    ready(park, "kit", 12)
    person(park, "mum")
    consent(park)
    with pytest.raises(RuleForbids, match="kit is a minor: stay with the child"):
        park.when(RecordLeft(player="kit"))
    handed = park.when(HandOverMinor(player="kit", adult="person-mum"))
    assert handed == (MinorHandedOver(player="kit", adult="person-mum"),)
    assert codes(park, "kit") == ["left_park"]
    park.at(5).when(RecordReturn(player="kit"))
    assert codes(park, "kit") == []


def test_a_minor_is_handed_to_an_adult_on_record_and_an_adult_to_nobody(park):
    ready(park)
    ready(park, "kit", 12)
    with pytest.raises(UnknownSubject, match="no person person-owl"):
        park.when(HandOverMinor(player="kit", adult="person-owl"))
    person(park, "owl", 16)
    with pytest.raises(RuleForbids, match=r"Adult person-owl is recorded as a minor\. Name an adult"):
        park.when(HandOverMinor(player="kit", adult="person-owl"))
    with pytest.raises(RuleForbids, match="ash is of age"):
        park.when(HandOverMinor(player="ash", adult="person-owl"))


def test_majority_is_what_the_rules_of_the_park_say(park):
    adopt(park, "r2", waiver={"majority_years": 16})
    ready(park, "kit", 16)
    assert codes(park, "kit") == []
    park.when(RecordLeft(player="kit"))
    assert codes(park, "kit") == ["left_park"]


def test_a_banned_person_is_not_registered_and_whoever_is_here_already_is_stopped(park):
    ready(park)
    park.when(BanPerson(person="person-ash"))
    assert [(one.code, one.where) for one in reasons(park)] == [("banned", "manager")]
    with pytest.raises(NotInThatState, match=r"banned from the park\. Only a manager lifts"):
        came(park.at(DAY), "elm", person="person-ash")


def test_a_ban_holds_through_its_last_day(park):
    person(park, "ash")
    park.when(BanPerson(person="person-ash", until=TODAY + timedelta(days=2)))
    with pytest.raises(NotInThatState, match="banned"):
        came(park.at(2 * DAY), "ash")
    came(park.at(3 * DAY), "ash")
    sign(park, "ash")
    pay(park, "ash")
    hear(park, "ash")
    assert codes(park) == []
    with pytest.raises(NotInThatState, match="person-ash is not banned"):
        park.when(LiftBan(person="person-ash"))


def test_a_ban_is_lifted_by_the_later_word_only(park):
    ready(park)
    park.at(60).when(BanPerson(person="person-ash"))
    with pytest.raises(NotInThatState, match="2026-05-09 10:00 UTC, after what you record"):
        park.at(70).when(LiftBan(person="person-ash", occurred_at=clock(59)))
    assert codes(park) == ["banned"]
    park.when(LiftBan(person="person-ash", occurred_at=clock(65)))
    assert codes(park) == []
    with pytest.raises(NotInThatState, match="10:05 UTC, after what you record"):
        park.when(BanPerson(person="person-ash", occurred_at=clock(64)))
    park.when(BanPerson(person="person-ash"))
    assert codes(park) == ["banned"]
    for command in (BanPerson(person="person-owl"), LiftBan(person="person-owl")):
        with pytest.raises(UnknownSubject, match="no person person-owl"):
            park.when(command)


def test_the_word_on_a_ban_that_was_given_later_holds_whichever_was_recorded_first(park):
    ready(park)
    park.at(60).given(PersonBanned(person="person-ash", until=None))
    park.given(BanLifted(person="person-ash"), occurred_at=clock(30))
    assert codes(park) == ["banned"]


def test_an_arrival_says_which_briefing_he_has_to_hear(park):
    person(park, "ash", 16)
    adopt(park, "r2", briefing={"version": 4})
    came(park, "ash")
    registered = park.events[-1].data
    assert isinstance(registered, PlayerRegistered)
    assert (registered.briefing_due, registered.age_band) == (4, 16)
