"""Papers: the waiver, each child's own guardian, and who answers for a child in the park.

Whether a waiver or a consent binds is for local law. Common practice, no source, unless a test names one.
"""

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contracts.problems import NotInThatState, RuleForbids, UnknownSubject
from contracts.registration import (
    GiveConsent,
    HandOverMinor,
    HoldBriefing,
    RecordGuardianLeft,
    RecordLeft,
    RecordPayment,
    RecordReturn,
    SignWaiver,
    VoidWithdrawal,
    WithdrawConsent,
)
from services.registration.persons import PERSON
from tests.unit.desk_day import adopt, came, clock, codes, consent, desk, person, ready, reasons, sign

DAY = 24 * 60


@pytest.fixture
def park():
    """A child who lacks only somebody to answer for it, and three adults who have a record."""
    park = desk()
    ready(park, "kit", 12)
    for adult in ("mum", "dad", "aunt"):
        person(park, adult)
    return park.at(10)


def left(park, adult, responsible=None, **more):
    named = None if responsible is None else f"person-{responsible}"
    park.when(RecordGuardianLeft(players=("kit",), guardian=f"person-{adult}", responsible=named, **more))


def withdraw(park, guardian="mum", **more):
    park.when(WithdrawConsent(person="person-kit", guardian=f"person-{guardian}", **more))


def test_a_waiver_of_a_wording_that_is_no_longer_accepted_is_signed_anew(park):
    ready(park)
    adopt(park, "r2", waiver={"accepted": ("w2",)})
    assert codes(park) == ["waiver_old_version"]
    sign(park, "ash", "w2")
    assert codes(park) == []


def test_any_accepted_wording_counts(park):
    ready(park)
    adopt(park, "r2", waiver={"accepted": ("w2", "w1")})
    assert codes(park) == []


def test_a_waiver_counts_through_the_last_moment_of_its_term(park):
    adopt(park, "r2", waiver={"valid_days": 5})
    person(park, "ash")
    sign(park, "ash")
    park.now = park.now + timedelta(days=5)
    came(park, "ash")
    assert "waiver_expired" not in codes(park)
    park.now = park.now + timedelta(seconds=1)
    assert "waiver_expired" in codes(park)
    sign(park, "ash")
    assert not {"waiver_expired", "waiver_missing"} & set(codes(park))
    sign(park, "ash", occurred_at=park.now - timedelta(days=6))
    assert not {"waiver_expired", "waiver_missing"} & set(codes(park))


def test_a_waiver_names_somebody_on_record(park):
    with pytest.raises(UnknownSubject, match="no person person-owl"):
        sign(park, "owl")


def test_a_child_needs_its_own_guardians_consent_beside_its_own_signature(park):
    assert codes(park, "kit") == ["consent_missing"]
    consent(park)
    assert codes(park, "kit") == []
    person(park, "wren", 12)
    came(park, "wren")
    assert codes(park, "wren") == ["entry_unpaid", "waiver_missing", "consent_missing", "briefing_missing"]


def test_consent_for_one_child_is_none_for_its_brother(park):
    consent(park)
    ready(park, "wren", 12)
    assert codes(park, "wren") == ["consent_missing"]


@pytest.mark.parametrize("relationship", ["host", "teacher", "other"])
def test_neither_a_host_nor_a_teacher_can_sign_for_a_child(park, relationship):
    with pytest.raises(RuleForbids, match="a host, a teacher or a friend cannot sign"):
        consent(park, relationship=relationship)


def test_a_legal_guardian_can(park):
    consent(park, relationship="legal_guardian")
    assert codes(park, "kit") == []


def test_consent_is_an_adults_who_has_a_record_and_is_not_the_child(park):
    ready(park, "wren", 16)
    with pytest.raises(RuleForbids, match="Guardian person-wren is recorded as a minor"):
        consent(park, "wren")
    with pytest.raises(RuleForbids, match="Nobody consents for himself"):
        consent(park, "kit")
    with pytest.raises(UnknownSubject, match="no person person-owl"):
        consent(park, "owl")
    with pytest.raises(UnknownSubject, match="no person person-owl"):
        consent(park, child="owl")


def test_consent_to_a_wording_that_is_not_accepted_or_out_of_term_is_none(park):
    consent(park, wording="w0")
    assert codes(park, "kit") == ["consent_missing"]
    consent(park, "dad")
    assert codes(park, "kit") == []
    adopt(park, "r2", waiver={"accepted": ("w1",), "valid_days": 1})
    came(park.at(DAY + 11), "kit", player="kit-2", day_pass="p2", armband=9)  # noqa: S106
    assert "consent_missing" in codes(park, "kit-2")


def test_consent_taken_back_stands_in_the_way_until_that_guardian_gives_it_again(park):
    consent(park)
    consent(park, "dad")
    withdraw(park.at(20))
    assert [one.sentence for one in reasons(park, "kit")] == [
        "Your own parent or legal guardian has not consented. A guardian has taken consent back."
    ]
    consent(park.at(25), "dad")
    assert codes(park, "kit") == ["consent_missing"]
    consent(park.at(30))
    assert codes(park, "kit") == []


def test_a_withdrawal_told_before_its_consent_is_kept(park):
    withdraw(park.at(30))
    consent(park.at(35), occurred_at=clock(20))
    assert codes(park, "kit") == ["consent_missing"]
    consent(park.at(40))
    assert codes(park, "kit") == []


def test_a_guardian_who_never_consented_can_forbid_it(park):
    consent(park)
    withdraw(park.at(20), "dad")
    assert codes(park, "kit") == ["consent_missing"]


def test_a_consent_is_the_childs_paper_and_not_its_guardians(park):
    consent(park, on_site=False, responsible="aunt")
    withdraw(park.at(20))
    assert set(park.state(PERSON, "person-kit").consents) == {"person-mum"}
    for adult in ("mum", "aunt"):
        state = park.state(PERSON, f"person-{adult}")
        assert (state.consents, state.withdrawals) == ({}, {})


def test_a_withdrawal_of_before_the_consent_takes_nothing_back(park):
    consent(park.at(30))
    withdraw(park.at(40), occurred_at=clock(20))
    assert codes(park, "kit") == []


def test_a_withdrawal_names_a_child_and_a_guardian_on_record(park):
    with pytest.raises(UnknownSubject, match="no person person-owl"):
        withdraw(park, "owl")
    with pytest.raises(UnknownSubject, match="no person person-owl"):
        park.when(WithdrawConsent(person="person-owl", guardian="person-mum"))
    with pytest.raises(RuleForbids, match="Nobody consents for himself"):
        withdraw(park, "kit")


def void(park, guardian="mum", **more):
    park.when(VoidWithdrawal(person="person-kit", guardian=f"person-{guardian}", error="wrong_guardian", **more))


def test_a_withdrawal_recorded_by_mistake_is_voided_and_the_consent_counts_again(park):
    consent(park)
    withdraw(park.at(20), "aunt")
    assert codes(park, "kit") == ["consent_missing"]
    void(park.at(25), "aunt")
    assert codes(park, "kit") == []


def test_voiding_one_withdrawal_leaves_that_of_the_other_guardian(park):
    consent(park)
    withdraw(park.at(20))
    withdraw(park, "dad")
    void(park.at(25))
    assert codes(park, "kit") == ["consent_missing"]
    assert park.state(PERSON, "person-kit").opposed == ["person-dad"]


def test_what_is_told_of_a_withdrawal_after_one_was_voided_counts(park):
    consent(park)
    withdraw(park.at(20))
    void(park.at(25))
    withdraw(park.at(30), occurred_at=clock(24))
    assert codes(park, "kit") == ["consent_missing"]


def test_only_a_withdrawal_that_stands_and_had_happened_is_voided(park):
    consent(park)
    with pytest.raises(NotInThatState, match="person-mum is not recorded as having taken consent back"):
        void(park.at(20))
    withdraw(park.at(30))
    with pytest.raises(NotInThatState, match="taken back at 2026-05-09 09:30 UTC, after what you record"):
        void(park.at(40), occurred_at=clock(25))
    void(park)
    with pytest.raises(NotInThatState, match="Nothing is to be done"):
        void(park.at(41))
    with pytest.raises(UnknownSubject, match="no person person-owl"):
        void(park, "owl")


def test_a_guardian_who_leaves_without_naming_another_adult_leaves_the_child_alone(park):
    consent(park)
    left(park.at(20), "mum")
    assert codes(park, "kit") == ["guardian_gone"]
    left(park.at(25), "mum", "aunt")
    assert codes(park, "kit") == []


def test_a_guardian_who_comes_back_and_consents_answers_again(park):
    consent(park)
    left(park.at(20), "mum")
    consent(park.at(30))
    assert codes(park, "kit") == []
    left(park.at(40), "mum", occurred_at=clock(25))
    assert codes(park, "kit") == []


def test_one_of_two_guardians_is_enough(park):
    consent(park)
    consent(park, "dad")
    left(park.at(20), "mum")
    assert codes(park, "kit") == []
    left(park.at(21), "dad")
    assert codes(park, "kit") == ["guardian_gone"]


def test_a_guardian_who_is_not_on_site_names_an_adult_who_is(park):
    consent(park, on_site=False)
    assert codes(park, "kit") == ["guardian_gone"]
    consent(park.at(11), on_site=False, responsible="aunt")
    assert codes(park, "kit") == []


def test_whoever_answers_is_followed_from_one_adult_to_the_next(park):
    consent(park, on_site=False, responsible="aunt")
    left(park.at(20), "aunt", "dad")
    assert codes(park, "kit") == []
    left(park.at(30), "dad")
    assert codes(park, "kit") == ["guardian_gone"]
    left(park.at(31), "dad", "aunt")
    assert codes(park, "kit") == []
    left(park.at(40), "aunt")
    assert codes(park, "kit") == ["guardian_gone"]


def test_a_guardian_off_the_site_may_name_another_adult_later(park):
    consent(park, on_site=False, responsible="aunt")
    left(park.at(20), "mum", "dad")
    left(park.at(30), "aunt")
    assert codes(park, "kit") == []


def test_a_leaving_of_before_he_was_named_counts_for_nothing(park):
    consent(park, on_site=False, responsible="aunt")
    left(park.at(40), "aunt", "dad")
    left(park.at(50), "dad", occurred_at=clock(30))
    assert codes(park, "kit") == []


def test_nobody_names_himself_in_his_own_stead_nor_a_minor_nor_a_stranger(park):
    for name in (
        lambda: consent(park, on_site=False, responsible="mum"),
        lambda: left(park, "mum", "mum"),
    ):
        with pytest.raises(RuleForbids, match="cannot name himself"):
            name()
    ready(park, "wren", 16)
    for name in (lambda: consent(park, on_site=False, responsible="wren"), lambda: left(park, "mum", "wren")):
        with pytest.raises(RuleForbids, match="Responsible adult person-wren is recorded as a minor"):
            name()
    for name in (lambda: consent(park, responsible="owl"), lambda: left(park, "mum", "owl")):
        with pytest.raises(UnknownSubject, match="no person person-owl"):
            name()
    with pytest.raises(UnknownSubject, match="no person person-owl"):
        left(park, "owl")
    with pytest.raises(UnknownSubject, match="no player owl"):
        park.when(RecordGuardianLeft(players=("owl",), guardian="person-mum"))


def test_a_guardian_who_plays_too_and_left_the_park_answers_for_nobody_until_he_is_back(park):
    ready(park)
    consent(park, "ash")
    assert codes(park, "kit") == []
    park.at(20).when(RecordLeft(player="ash"))
    assert codes(park, "kit") == ["guardian_gone"]
    park.at(30).when(RecordReturn(player="ash"))
    assert codes(park, "kit") == []


def test_nor_does_an_adult_who_was_named_plays_and_left(park):
    ready(park)
    consent(park)
    left(park.at(15), "mum", "ash")
    assert codes(park, "kit") == []
    park.at(20).when(RecordLeft(player="ash"))
    assert codes(park, "kit") == ["guardian_gone"]
    left(park.at(25), "ash", "dad")
    assert codes(park, "kit") == []


def test_what_a_guardian_did_as_a_player_on_another_day_is_of_that_day(park):
    ready(park)
    consent(park, "ash")
    park.at(20).when(RecordLeft(player="ash"))
    came(park.at(DAY), "kit", player="kit-2", day_pass="p2", armband=9)  # noqa: S106
    assert not {"guardian_gone", "consent_missing"} & set(codes(park, "kit-2"))


def test_who_is_of_age_needs_nobodys_consent(park):
    ready(park)
    assert codes(park, "ash") == []
    withdraw(park)
    park.when(WithdrawConsent(person="person-ash", guardian="person-mum"))
    assert codes(park, "ash") == []


KIT, MUM, DAD, AUNT = ("person-kit", "person-mum", "person-dad", "person-aunt")


def gave(guardian, minutes, **more):
    return GiveConsent(
        person=KIT, guardian=guardian, relationship="parent", wording="w1", occurred_at=clock(minutes), **more
    )


def went(adult, minutes, responsible=None):
    return RecordGuardianLeft(players=("wren",), guardian=adult, responsible=responsible, occurred_at=clock(minutes))


def forbade(guardian, minutes):
    return WithdrawConsent(person=KIT, guardian=guardian, occurred_at=clock(minutes))


WHO_ANSWERS = (
    gave(MUM, 5),
    went(MUM, 10, AUNT),
    went(AUNT, 15),
    went(AUNT, 16, DAD),
    went(DAD, 18, AUNT),
    gave(MUM, 8, on_site=False, responsible=DAD),
)
WHAT_WAS_SIGNED = (
    SignWaiver(person=KIT, wording="w1", occurred_at=clock(1)),
    SignWaiver(person=KIT, wording="w0", occurred_at=clock(2)),
    RecordPayment(payment="a", players=("wren",), purpose="entry", means="cash", amount_minor=1, occurred_at=clock(3)),
    HoldBriefing(briefing="b", version=1, players=("wren",), occurred_at=clock(4)),
    gave(MUM, 5),
    forbade(MUM, 6),
    forbade(MUM, 9),
    gave(MUM, 8),
    forbade(DAD, 20),
    gave(DAD, 21),
    HandOverMinor(player="wren", adult=MUM, occurred_at=clock(40)),
)


def told(facts):
    """What the gate says once these were told in this order."""
    park = desk()
    for name, band in (("kit", 12), ("mum", 18), ("dad", 18), ("aunt", 18)):
        person(park, name, band)
    came(park, "kit", player="wren")
    for fact in facts:
        park.at(60).when(fact)
    return reasons(park, "wren")


@pytest.mark.parametrize("facts", [WHO_ANSWERS, WHAT_WAS_SIGNED], ids=["who answers", "what was signed"])
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_facts_of_the_same_times_come_to_the_same_reasons_in_whatever_order_they_are_told(facts, data):
    chosen = [fact for fact in data.draw(st.permutations(facts)) if data.draw(st.integers(0, 4))]
    in_order = sorted(chosen, key=lambda fact: fact.occurred_at)
    assert told(chosen) == told(in_order)
