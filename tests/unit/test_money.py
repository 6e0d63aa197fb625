"""Money: what counts as a paid entry, and what is paid back to whom. Common practice, no source, unless a test names one."""

import msgspec
import pytest

from contracts.discipline import Caution, ConfirmEjection
from contracts.envelope import Basis
from contracts.games import Entrant, GameStarted, Offender, PlayerAdmitted
from contracts.problems import AlreadyRecorded, NotInThatState, RuleForbids, UnknownSubject
from contracts.registration import PaymentVoided, RecordPayment, Refund, RefundGranted, RefundRefused, VoidPayment
from services.registration.money import PAYMENT, PURSE
from tests.unit.desk_day import adopt, came, clock, codes, desk, hear, pay, person, reasons, sign
from tests.unit.scenario import NINE

BASIS = Basis(now=NINE, rules="default", position=0)


@pytest.fixture
def park():
    """Three adults who lack nothing but their entry."""
    park = desk()
    for name in ("ash", "elm", "owl"):
        person(park, name)
        sign(park, name)
        came(park, name)
    hear(park, "ash", "elm", "owl")
    return park.at(10)


def started(*names, left_out=()):
    return GameStarted(
        basis=BASIS,
        game="g1",
        field="birch",
        rotation=None,
        format="respawn",
        minutes=15,
        entrants=tuple(Entrant(player=name, colour="red") for name in names),
        left_out=tuple(Offender(player=name, reasons=()) for name in left_out),
    )


def refund(park, amount, player="ash", refund="r1", role="desk", **more):
    """The one event that asking for a refund comes to."""
    named = {"payment": "pay1"} | more
    (event,) = park.when(Refund(refund=refund, player=player, amount_minor=amount, **named), role)
    return event


def refused(event):
    assert isinstance(event, RefundRefused), event
    return [one.code for one in event.reasons]


def eject(park, player="ash"):
    park.when(Caution(caution="c1", violation="physical-contact", player=player, field="birch"), "referee")
    park.when(ConfirmEjection(player=player, caution="c1"))


def test_entry_that_nobody_paid_is_unpaid(park):
    assert [(one.code, one.where) for one in reasons(park)] == [("entry_unpaid", "desk")]


@pytest.mark.parametrize("means", ["cash", "card", "voucher", "account", "transfer"])
def test_entry_is_paid_by_any_means_the_groups_account_and_a_voucher_too(park, means):
    pay(park, "ash", "elm", means=means)
    assert codes(park, "ash") == codes(park, "elm") == []
    assert codes(park, "owl") == ["entry_unpaid"]


def test_a_deposit_on_the_entry_counts_as_paid(park):
    pay(park, "ash", purpose="entry_deposit")
    assert codes(park) == []


@pytest.mark.parametrize("purpose", ["hire", "hire_deposit", "paint", "air"])
def test_what_is_bought_beside_it_pays_no_entry(park, purpose):
    pay(park, "ash", purpose=purpose)
    assert codes(park) == ["entry_unpaid"]


def test_a_payment_withdrawn_pays_for_nobody_any_more(park):
    pay(park, "ash", "elm")
    voided = park.when(VoidPayment(payment="pay1", error="payment_failed"))
    assert voided == (PaymentVoided(payment="pay1", players=("ash", "elm"), error="payment_failed"),)
    assert codes(park, "ash") == codes(park, "elm") == ["entry_voided"]
    pay(park, "ash", payment="pay2")
    assert codes(park, "ash") == []
    assert codes(park, "elm") == ["entry_voided"]


def test_one_of_two_payments_withdrawn_leaves_the_other(park):
    pay(park, "ash")
    pay(park, "ash", payment="pay2")
    park.when(VoidPayment(payment="pay1", error="recorded_twice"))
    assert codes(park) == []


def test_a_payment_is_recorded_once_and_withdrawn_once(park):
    pay(park, "ash")
    with pytest.raises(AlreadyRecorded, match="payment pay1 is already recorded"):
        pay(park, "elm")
    park.when(VoidPayment(payment="pay1", error="recorded_twice"))
    with pytest.raises(NotInThatState, match="pay1 was withdrawn already"):
        park.when(VoidPayment(payment="pay1", error="recorded_twice"))
    with pytest.raises(UnknownSubject, match="no payment pay9"):
        park.when(VoidPayment(payment="pay9", error="recorded_twice"))
    with pytest.raises(UnknownSubject, match="no player nobody"):
        pay(park, "ash", "nobody", payment="pay2")


def test_a_second_record_of_a_payment_that_slipped_in_changes_nothing(park):
    """Facts are appended unconditionally: two stations may record the same payment at once."""
    pay(park, "ash")
    recorded = park.events[-1].data
    park.when(VoidPayment(payment="pay1", error="payment_failed"))
    park.given(msgspec.structs.replace(recorded, amount_minor=99))
    assert codes(park) == ["entry_voided"]
    assert park.state(PAYMENT, "pay1").amount_minor == 2500


def test_a_payment_told_late_pays_from_then_on(park):
    late = {"payment": "pay1", "players": ("ash",), "purpose": "entry", "means": "cash", "amount_minor": 2500}
    park.at(60).when(RecordPayment(**late, occurred_at=clock(1)))
    assert codes(park) == []


def test_whoever_has_not_played_gets_his_entry_back_and_is_unpaid_then(park):
    pay(park, "ash")
    granted = refund(park, 2500)
    assert isinstance(granted, RefundGranted)
    assert (granted.uncovers, granted.override) == (("ash",), None)
    assert [one.sentence for one in reasons(park)] == ["Your entry is not paid. It was paid back."]
    pay(park, "ash", payment="pay2")
    assert codes(park) == []


def test_a_part_paid_back_leaves_the_entry_paid_until_all_of_it_is(park):
    pay(park, "ash")
    assert refund(park, 1000).uncovers == ()
    assert codes(park) == []
    assert refund(park, 1500, refund="r2").uncovers == ("ash",)
    assert codes(park) == ["entry_unpaid"]


def test_more_than_was_paid_is_never_paid_back(park):
    pay(park, "ash")
    assert refused(refund(park, 2501)) == ["refund_exceeds_payment"]
    assert isinstance(refund(park, 2000), RefundGranted)
    assert refused(refund(park, 501, refund="r2")) == ["refund_exceeds_payment"]
    assert refused(refund(park, 501, refund="r3", role="manager", override="goodwill")) == ["refund_exceeds_payment"]
    assert isinstance(refund(park, 500, refund="r4"), RefundGranted)


def test_nothing_is_paid_back_of_a_payment_that_was_withdrawn(park):
    pay(park, "ash")
    park.when(VoidPayment(payment="pay1", error="charged_back"))
    assert refused(refund(park, 1)) == ["refund_exceeds_payment"]


def test_a_player_gets_his_share_of_his_groups_payment_and_the_first_what_does_not_divide(park):
    pay(park, "ash", "elm", "owl", amount=1000)
    assert refused(refund(park, 334, "elm")) == ["refund_exceeds_share"]
    assert refused(refund(park, 335, "ash")) == ["refund_exceeds_share"]
    assert refund(park, 333, "elm", "r1").uncovers == ("elm",)
    assert refund(park, 334, "ash", "r2").uncovers == ("ash",)
    assert [codes(park, name) for name in ("ash", "elm", "owl")] == [["entry_unpaid"], ["entry_unpaid"], []]
    assert refused(refund(park, 1, "elm", "r3")) == ["refund_exceeds_share"]


def test_a_manager_may_pay_the_whole_back_to_one_and_then_it_covers_nobody(park):
    pay(park, "ash", "elm", "owl", amount=1000)
    whole = {"override": "goodwill"}
    assert refused(refund(park, 1000, **whole)) == ["refund_exceeds_share"]
    granted = refund(park, 1000, role="manager", **whole)
    assert granted.uncovers == ("ash", "elm", "owl")
    assert [codes(park, name) for name in ("ash", "elm", "owl")] == [["entry_unpaid"]] * 3


def test_the_paint_of_a_group_is_paid_back_to_whoever_asks_for_it(park):
    pay(park, "ash", "elm", purpose="paint", amount=1000)
    granted = refund(park, 1000)
    assert isinstance(granted, RefundGranted)
    assert granted.uncovers == ()


def test_a_refund_is_granted_once_and_one_refused_may_be_asked_again(park):
    pay(park, "ash")
    assert refused(refund(park, 9999)) == ["refund_exceeds_payment"]
    assert isinstance(refund(park, 500), RefundGranted)
    with pytest.raises(AlreadyRecorded, match="refund r1 is already recorded"):
        refund(park, 500)
    pay(park, "ash", payment="pay2")
    with pytest.raises(AlreadyRecorded, match="refund r1"):
        refund(park, 500, payment="pay2")
    assert park.state(PAYMENT, "pay1").left_minor == 2000


def test_a_refund_is_of_a_payment_that_covers_the_player(park):
    pay(park, "ash")
    with pytest.raises(UnknownSubject, match="no payment pay9"):
        refund(park, 500, payment="pay9")
    with pytest.raises(RuleForbids, match="pay1 does not cover player elm"):
        refund(park, 500, "elm")


def test_an_ejection_forfeits_the_entry(park):
    pay(park, "ash")
    eject(park)
    assert refused(refund(park, 2500)) == ["refund_forfeited"]


@pytest.mark.parametrize("purpose", ["hire", "hire_deposit", "paint", "air"])
def test_an_ejection_forfeits_nothing_but_the_entry(park, purpose):
    pay(park, "ash", purpose=purpose)
    eject(park)
    assert isinstance(refund(park, 2500), RefundGranted)


def test_an_ejection_forfeits_the_deposit_on_the_entry(park):
    pay(park, "ash", purpose="entry_deposit")
    eject(park)
    assert refused(refund(park, 2500)) == ["refund_forfeited"]


def test_the_forfeiture_awaits_the_head_referee(park):
    pay(park, "ash")
    park.when(Caution(caution="c1", violation="physical-contact", player="ash", field="birch"), "referee")
    assert isinstance(refund(park, 2500), RefundGranted)


def test_one_players_ejection_is_not_his_groups(park):
    pay(park, "ash", "elm", amount=5000)
    eject(park)
    assert isinstance(refund(park, 2500, "elm"), RefundGranted)


def test_only_a_manager_and_only_with_a_reason_overrides_a_forfeiture(park):
    pay(park, "ash")
    eject(park)
    assert refused(refund(park, 2500, role="manager")) == ["refund_forfeited"]
    assert refused(refund(park, 2500, override="judged_unfair")) == ["refund_forfeited"]
    granted = refund(park, 2500, role="manager", override="judged_unfair")
    assert isinstance(granted, RefundGranted)
    assert granted.override == "judged_unfair"


def test_entry_is_not_paid_back_once_a_game_was_played_unless_the_rules_say_so(park):
    pay(park, "ash")
    pay(park, "elm", payment="pay2")
    park.given(started("ash", left_out=("elm",)))
    assert refused(refund(park, 2500)) == ["refund_after_start"]
    assert isinstance(refund(park, 2500, "elm", "r2", payment="pay2"), RefundGranted)
    adopt(park, "kind", money={"refund_after_start": True})
    assert isinstance(refund(park, 2500), RefundGranted)


def test_whoever_joined_through_the_gate_has_played_too(park):
    pay(park, "ash")
    park.given(PlayerAdmitted(basis=BASIS, player="ash", field="birch", game="g1", colour="red"))
    assert refused(refund(park, 2500)) == ["refund_after_start"]
    assert park.state(PURSE, "ash").played


def test_a_refund_hears_every_reason_against_it_with_what_it_rested_on(park):
    pay(park, "ash", "elm", amount=2500)
    park.given(started("ash"))
    eject(park)
    event = refund(park, 2501)
    assert refused(event) == [
        "refund_exceeds_payment",
        "refund_exceeds_share",
        "refund_forfeited",
        "refund_after_start",
    ]
    assert (event.basis.now, event.basis.position) == (park.now, len(park.events) - 1)
