"""The rules of cautions, ejections and appeals. Common practice of the trade, no source, unless a test names one."""

from datetime import timedelta

import pytest

from contracts.discipline import (
    Caution,
    CautionRecorded,
    CautionResolved,
    CautionVoided,
    ConfirmEjection,
    DecideAppeal,
    EjectionConfirmed,
    PlayerReinstated,
    RaiseAppeal,
    ReinstatePlayer,
    ResolveCaution,
    RuleSeparateAct,
    SeparateActRuled,
    VoidCaution,
)
from contracts.park import RulesAdopted
from contracts.problems import AlreadyRecorded, NotAllowed, NotInThatState, RuleForbids, UnknownSubject
from contracts.rules import CATALOGUE, DisciplineRules, Rules, Violation
from services.discipline import model
from services.discipline.states import RECORD
from tests.unit.discipline_day import caution, codes, discipline_day, found


@pytest.fixture
def day():
    return discipline_day()


def test_a_first_caution_owes_one_game(day):
    caution(day, "c1")
    (one,) = found(day)
    assert (one.code, one.where) == ("sitting_out", "staging")
    assert one.sentence == "You are sitting out. 1 full game of your rotation to go."


def test_the_second_caution_of_the_day_ejects_by_itself(day):
    caution(day, "c1")
    caution(day.at(60), "c2")
    assert codes(day) == ["ejected"]


def test_a_note_never_counts(day):
    for number in range(3):
        caution(day.at(10 + 30 * number), f"c{number}", "accidental-contact")
    assert codes(day) == []


def test_a_note_beside_a_caution_is_no_second_entry_of_it(day):
    caution(day, "c1", "accidental-contact")
    caution(day, "c2")
    assert codes(day) == ["sitting_out"]


def test_of_two_cautions_one_voided_leaves_the_other_to_be_served(day):
    caution(day, "c1")
    caution(day.at(60), "c2")
    assert day.when(VoidCaution(caution="c1", player="p1", cause="not_a_violation")) == (
        CautionVoided(caution="c1", player="p1", cause="not_a_violation"),
    )
    assert codes(day) == ["sitting_out"]
    day.when(VoidCaution(caution="c2", cause="entered_in_error"))
    assert codes(day) == []


def test_a_caution_is_voided_once(day):
    caution(day, "c1")
    day.when(VoidCaution(caution="c1", player="p1", cause="wrong_player"))
    with pytest.raises(NotInThatState, match="withdrawn already"):
        day.when(VoidCaution(caution="c1", player="p1", cause="wrong_player"))


def test_physical_contact_stands_down_at_once_and_ejects_when_the_head_referee_confirms_it(day):
    caution(day, "c1", "physical-contact")
    (one,) = found(day)
    assert (one.code, one.where, one.subject) == ("stood_down", "head referee", "caution:c1")
    assert day.when(ConfirmEjection(player="p1", caution="c1")) == (EjectionConfirmed(player="p1", caution="c1"),)
    assert codes(day) == ["ejected"]
    with pytest.raises(NotInThatState, match="does not wait for a confirmation"):
        day.when(ConfirmEjection(player="p1", caution="c1"))


def test_a_caution_beside_an_unconfirmed_one_that_weighs_two_does_not_eject_yet(day):
    caution(day, "c1")
    caution(day.at(60), "c2", "physical-contact")
    assert codes(day) == ["stood_down", "sitting_out"]


def test_a_stand_down_that_is_withdrawn_leaves_nothing(day):
    caution(day, "c1", "physical-contact")
    day.when(VoidCaution(caution="c1", player="p1", cause="not_a_violation"))
    assert codes(day) == []


def test_an_ejection_whose_caution_is_voided_brings_the_player_back(day):
    caution(day, "c1", "physical-contact")
    day.when(ConfirmEjection(player="p1", caution="c1"))
    day.when(VoidCaution(caution="c1", player="p1", cause="wrong_player"))
    assert codes(day) == []


def test_only_what_weighs_two_can_be_confirmed(day):
    caution(day, "c1")
    with pytest.raises(NotInThatState, match=r"only one that weighs two.*Waiting for the head referee: none"):
        day.when(ConfirmEjection(player="p1", caution="c1"))


@pytest.mark.parametrize(("minutes", "codes_then"), [(5, ["stood_down", "sitting_out"]), (5.02, ["ejected"])])
def test_an_entry_within_five_minutes_of_another_waits_for_a_ruling_and_a_later_one_counts(day, minutes, codes_then):
    caution(day.at(10), "c1")
    caution(day.at(10 + minutes), "c2", "abuse")
    assert codes(day) == codes_then


def test_two_referees_who_record_one_act_eject_nobody_until_it_is_ruled_a_separate_one(day):
    caution(day, "c1")
    caution(day, "c2", "abuse")
    assert [one.subject for one in found(day) if one.code == "stood_down"] == ["caution:c2"]
    assert day.when(RuleSeparateAct(caution="c2", player="p1")) == (SeparateActRuled(caution="c2", player="p1"),)
    assert codes(day) == ["ejected"]


def test_one_act_recorded_twice_counts_once_when_the_second_entry_is_withdrawn(day):
    caution(day, "c1")
    caution(day, "c2")
    day.when(VoidCaution(caution="c2", player="p1", cause="recorded_twice"))
    assert codes(day) == ["sitting_out"]


def test_when_the_first_entry_is_withdrawn_the_second_counts_by_itself(day):
    caution(day, "c1")
    caution(day, "c2")
    day.when(VoidCaution(caution="c1", player="p1", cause="recorded_twice"))
    assert codes(day) == ["sitting_out"]


def test_a_late_entry_about_the_same_act_waits_although_it_says_that_it_happened_first(day):
    caution(day.at(10), "c1")
    caution(day.at(50), "c2", minute=8)
    assert [one.subject for one in found(day) if one.code == "stood_down"] == ["caution:c2"]


def test_a_late_entry_about_an_act_of_long_before_counts_at_once(day):
    caution(day.at(40), "c1")
    caution(day.at(50), "c2", minute=8)
    assert codes(day) == ["ejected"]


def test_the_entry_that_was_recorded_first_is_not_ruled_on(day):
    caution(day, "c1")
    caution(day, "c2")
    with pytest.raises(NotInThatState, match="Waiting for the head referee: c2"):
        day.when(RuleSeparateAct(caution="c1", player="p1"))


def test_a_second_entry_that_weighs_two_stands_down_once_and_may_be_confirmed(day):
    caution(day, "c1", "abuse")
    caution(day, "c2", "physical-contact")
    assert codes(day) == ["stood_down", "sitting_out"]
    day.when(ConfirmEjection(player="p1", caution="c2"))
    assert codes(day) == ["ejected"]


def test_reinstated_a_player_owes_nothing_for_what_was_recorded_before(day):
    caution(day, "c1")
    caution(day.at(60), "c2")
    assert day.at(70).when(ReinstatePlayer(player="p1")) == (PlayerReinstated(player="p1"),)
    assert codes(day) == []
    caution(day.at(100), "c3")
    assert codes(day) == ["sitting_out"]
    caution(day.at(130), "c4")
    assert codes(day) == ["ejected"]


def test_a_second_referees_late_entry_about_a_forgiven_act_waits_for_a_ruling(day):
    caution(day.at(10), "c1", "physical-contact")
    day.at(20).when(ReinstatePlayer(player="p1"))
    caution(day.at(50), "c2", "abuse", minute=12)
    assert codes(day) == ["stood_down"]


def test_a_late_caution_about_another_act_holds_although_it_happened_before_the_return(day):
    caution(day.at(10), "c1", "physical-contact")
    day.at(60).when(ReinstatePlayer(player="p1"))
    caution(day.at(70), "c2", minute=40)
    assert codes(day) == ["sitting_out"]


def test_who_only_sits_out_is_not_reinstated(day):
    caution(day, "c1")
    with pytest.raises(NotInThatState, match="void its caution"):
        day.when(ReinstatePlayer(player="p1"))


def test_an_appeal_leaves_the_caution_standing_until_it_is_upheld(day):
    caution(day, "c1")
    day.when(RaiseAppeal(appeal="a1", caution="c1", player="p1"))
    assert codes(day) == ["sitting_out"]
    day.when(DecideAppeal(appeal="a1", caution="c1", player="p1", upheld=True))
    assert codes(day) == []


def test_an_appeal_that_is_not_upheld_changes_nothing_and_is_decided_once(day):
    caution(day, "c1")
    day.when(RaiseAppeal(appeal="a1", caution="c1", player="p1"))
    day.when(DecideAppeal(appeal="a1", caution="c1", player="p1", upheld=False))
    assert codes(day) == ["sitting_out"]
    with pytest.raises(NotInThatState, match="decided already"):
        day.when(DecideAppeal(appeal="a1", caution="c1", player="p1", upheld=True))


def test_an_appeal_is_decided_on_the_caution_that_it_is_against(day):
    caution(day, "c1")
    caution(day.at(60), "c2")
    day.when(RaiseAppeal(appeal="a1", caution="c1", player="p1"))
    with pytest.raises(RuleForbids, match="against caution c1, not c2"):
        day.when(DecideAppeal(appeal="a1", caution="c2", player="p1", upheld=True))
    with pytest.raises(UnknownSubject, match="appeal a2"):
        day.when(DecideAppeal(appeal="a2", caution="c1", player="p1", upheld=True))
    with pytest.raises(AlreadyRecorded, match="appeal a1"):
        day.when(RaiseAppeal(appeal="a1", caution="c2", player="p1"))


def test_a_caution_by_colour_and_number_holds_against_nobody_until_it_is_resolved(day):
    day.at(10).when(Caution(caution="c1", violation="wiping", game="g0", colour="red", armband=14))
    assert codes(day) == []
    (resolved,) = day.at(40).when(ResolveCaution(caution="c1", player="p1"))
    assert resolved == CautionResolved(
        caution="c1",
        player="p1",
        violation="wiping",
        weight=1,
        field="birch",
        game="g0",
        happened_at=day.now - timedelta(minutes=30),
    )
    assert codes(day) == ["sitting_out"]
    with pytest.raises(NotInThatState, match=r"about player p1 already.*void it and record it anew"):
        day.when(ResolveCaution(caution="c1", player="p2"))


def test_a_caution_by_number_is_resolved_to_nobody_who_wears_another(day):
    day.when(Caution(caution="c1", violation="wiping", game="g0", colour="red", armband=3))
    with pytest.raises(RuleForbids, match=r"about armband 3; player p1 wears 14.*void the caution and record it anew"):
        day.when(ResolveCaution(caution="c1", player="p1"))
    assert codes(day) == []


def test_a_resolved_caution_is_near_another_by_when_the_act_happened(day):
    caution(day.at(10), "c1")
    day.at(12).when(Caution(caution="c2", violation="abuse", game="g0", colour="red", armband=14))
    day.at(40).when(ResolveCaution(caution="c2", player="p1"))
    assert codes(day) == ["stood_down", "sitting_out"]


def test_a_caution_about_nobody_yet_can_be_withdrawn_and_then_not_resolved(day):
    day.when(Caution(caution="c1", violation="wiping", game="g0", colour="red", armband=14))
    assert day.when(VoidCaution(caution="c1", cause="not_a_violation"))[0].player is None
    with pytest.raises(NotInThatState, match="has been withdrawn"):
        day.when(ResolveCaution(caution="c1", player="p1"))
    with pytest.raises(NotInThatState, match="withdrawn already"):
        day.when(VoidCaution(caution="c1", cause="not_a_violation"))


@pytest.mark.parametrize("missing", ["colour", "armband", "game"])
def test_a_caution_that_nobody_could_resolve_is_refused(day, missing):
    whom = {"colour": "red", "armband": 14, "game": "g0"}
    del whom[missing]
    with pytest.raises(RuleForbids, match="It names nobody"):
        day.when(Caution(caution="c1", violation="wiping", **whom))


def test_a_caution_voided_for_the_wrong_player_can_be_recorded_anew_against_the_right_one(day):
    caution(day, "c1")
    day.when(VoidCaution(caution="c1", player="p1", cause="wrong_player"))
    caution(day, "c2", player="p2")
    assert (codes(day), codes(day, "p2")) == ([], ["sitting_out"])


def test_an_order_about_a_caution_must_name_its_player(day):
    caution(day, "c1")
    with pytest.raises(RuleForbids, match="not about player p2 but about player p1"):
        day.when(VoidCaution(caution="c1", player="p2", cause="wrong_player"))
    with pytest.raises(UnknownSubject, match="caution c9"):
        day.when(VoidCaution(caution="c9", player="p1", cause="wrong_player"))


@pytest.mark.parametrize(
    ("violation", "role", "may"),
    [
        ("wiping", "referee", True),
        ("wiping", "staging", False),
        ("wiping", "head_referee", True),
        ("wiping", "manager", True),
        ("mask-lifted", "gear", True),
        ("barrel-uncovered", "staging", True),
        ("barrel-uncovered", "chrono", False),
        ("tampering", "chrono", True),
        ("tampering", "gear", False),
    ],
)
def test_who_records_which_violation_is_in_the_catalogue(day, violation, role, may):
    command = Caution(caution="c1", violation=violation, player="p1")
    if may:
        assert day.when(command, role)[0].violation == violation
    else:
        with pytest.raises(NotAllowed, match=f"this device's key is for {role}"):
            day.when(command, role)


def test_a_violation_that_is_not_in_the_catalogue_is_answered_with_the_catalogue(day):
    with pytest.raises(RuleForbids, match=r"no violation camping.*asking-for-help, accidental-contact, overshooting"):
        caution(day, "c1", "camping")


def test_a_violation_weighs_what_it_weighed_when_it_happened(day):
    stricter = Violation(code="wiping", weight=2, title="Wiped off a hit")
    catalogue = (stricter, *(one for one in CATALOGUE if one.code != "wiping"))
    adopted = RulesAdopted(rules=Rules(version="strict", discipline=DisciplineRules(catalogue=catalogue)))
    day.at(30).given(adopted)
    assert caution(day.at(40), "c1", minute=29).weight == 1
    assert caution(day.at(40), "c2", minute=30).weight == 2


def test_a_violation_new_in_the_catalogue_is_recorded_however_early_it_happened(day):
    catalogue = (*CATALOGUE, Violation(code="camping", weight=0, title="Camped"))
    day.at(30).given(RulesAdopted(rules=Rules(version="more", discipline=DisciplineRules(catalogue=catalogue))))
    assert caution(day.at(40), "c1", "camping", minute=20).weight == 0


def test_a_park_may_eject_at_the_third_caution_only(day):
    rules = Rules(version="mild", discipline=DisciplineRules(cautions_to_eject=3))
    day.given(RulesAdopted(rules=rules))
    caution(day, "c1")
    caution(day.at(60), "c2")
    assert found(day)[0].sentence == "You are sitting out. 2 full games of your rotation to go."
    caution(day.at(90), "c3")
    assert codes(day) == ["ejected"]


def test_who_and_where_must_be_known(day):
    for command, name in [
        (Caution(caution="c1", violation="wiping", player="p9"), "player p9"),
        (Caution(caution="c1", violation="wiping", player="p1", field="nowhere"), "field nowhere"),
        (Caution(caution="c1", violation="wiping", player="p1", game="g9"), "game g9"),
        (ReinstatePlayer(player="p9"), "player p9"),
        (ResolveCaution(caution="c1", player="p1"), "caution c1"),
        (RuleSeparateAct(caution="c1", player="p9"), "player p9"),
    ]:
        with pytest.raises(UnknownSubject, match=name):
            day.when(command)


def test_a_game_is_on_its_own_field(day):
    with pytest.raises(RuleForbids, match="Game g0 is on field birch, not on fern"):
        day.when(Caution(caution="c1", violation="wiping", player="p1", game="g0", field="fern"))


def test_the_name_of_a_caution_is_used_once(day):
    caution(day, "c1")
    with pytest.raises(AlreadyRecorded, match="caution c1"):
        caution(day, "c1", player="p2")


def test_a_caution_that_raced_into_the_record_twice_counts_once(day):
    caution(day, "c1")
    again = CautionRecorded(
        caution="c1", player="p1", field=None, game=None, colour=None, armband=None, violation="abuse", weight=1
    )
    day.at(60).given(again)
    assert codes(day) == ["sitting_out"]


def test_one_name_that_raced_to_two_players_can_be_withdrawn_from_each(day):
    caution(day, "c1")
    other = CautionRecorded(
        caution="c1", player="p2", field=None, game=None, colour=None, armband=None, violation="abuse", weight=1
    )
    day.given(other)
    day.when(VoidCaution(caution="c1", player="p2", cause="entered_in_error"))
    assert (codes(day), codes(day, "p2")) == (["sitting_out"], [])


def test_a_player_without_a_rotation_hears_that_only_one_serves_it():
    day = discipline_day(rotation=None)
    caution(day, "c1")
    assert found(day)[0].sentence == "You are sitting out. Ask staging for a rotation: only its games count."


def test_rulings_on_what_the_record_does_not_hold_leave_it_as_it_was(day):
    before = day.state(RECORD, "p1")
    day.given(
        SeparateActRuled(caution="c9", player="p1"),
        EjectionConfirmed(player="p1", caution="c9"),
        CautionVoided(caution="c9", player="p1", cause="wrong_player"),
    )
    assert day.state(RECORD, "p1") == before
    assert model.reasons(before, {}, day.moment()) == []
