"""Every reason for a `not cleared`: its code, the sentence for the player, and where it is cleared."""

from typing import NamedTuple

from contracts.envelope import Reason


class Entry(NamedTuple):
    sentence: str
    where: str


REASONS: dict[str, Entry] = {
    # registration
    "unknown_player": Entry("We have no record of you for today.", "desk"),
    "pass_replaced": Entry("This pass was replaced by a newer one.", "desk"),
    "pass_unknown": Entry("This pass is not yours.", "desk"),
    "left_park": Entry("You have left the park today.", "desk"),
    "banned": Entry("You may not play here.", "manager"),
    "entry_unpaid": Entry("Your entry is not paid.", "desk"),
    "entry_voided": Entry("Your payment was withdrawn.", "desk"),
    "waiver_missing": Entry("You have not signed the waiver.", "desk"),
    "waiver_old_version": Entry("The waiver has changed since you signed: please sign the new one.", "desk"),
    "waiver_expired": Entry("Your waiver has run out: please sign again.", "desk"),
    "consent_missing": Entry("Your own parent or legal guardian has not consented.", "desk"),
    "guardian_gone": Entry("Your guardian has left without naming another adult.", "desk"),
    "too_young": Entry("You are too young for this field.", "desk"),
    "briefing_missing": Entry("You have not heard the safety briefing.", "briefing"),
    "briefing_outdated": Entry("The safety briefing has changed: you must hear the new one first.", "briefing"),
    # equipment
    "mask_missing": Entry("You have no mask.", "gear counter"),
    "mask_not_inspected": Entry("Your own mask has not been inspected.", "gear counter"),
    "mask_failed": Entry("Your mask did not pass inspection.", "gear counter"),
    "mask_quarantined": Entry("This mask is out of use.", "gear counter"),
    "mask_held_by_other": Entry("This mask is not recorded with you.", "gear counter"),
    "marker_missing": Entry("You have no marker.", "gear counter"),
    "marker_not_inspected": Entry("Your own marker has not been inspected.", "gear counter"),
    "marker_failed": Entry("Your marker did not pass inspection.", "gear counter"),
    "barrel_cover_missing": Entry("No barrel cover was seen for your marker.", "gear counter"),
    "marker_quarantined": Entry("This marker is out of use.", "gear counter"),
    "marker_held_by_other": Entry("This marker is not recorded with you.", "gear counter"),
    "wrong_calibre": Entry("Your marker's calibre is not for this field.", "gear counter"),
    "wrong_firing_mode": Entry("Your marker's firing mode is not for this field.", "chronograph"),
    "bottle_not_inspected": Entry("Your own bottle has not been inspected.", "gear counter"),
    "bottle_failed": Entry("Your bottle did not pass inspection.", "gear counter"),
    "bottle_out_of_test": Entry("Your bottle is out of test date.", "gear counter"),
    "bottle_quarantined": Entry("This bottle is out of use.", "gear counter"),
    "bottle_held_by_other": Entry("This bottle is not recorded with you.", "gear counter"),
    # velocity
    "marker_not_tested": Entry("Your marker has not been measured as it is set up now.", "chronograph"),
    "test_voided": Entry("Your marker has changed since it was measured.", "chronograph"),
    "test_expired": Entry("Your marker's test has run out.", "chronograph"),
    "spot_check_failed": Entry("Your marker shot too fast on the field.", "chronograph"),
    "too_fast": Entry("Your marker shoots too fast for this field.", "chronograph"),
    "test_inconclusive": Entry("Your marker's test decided nothing: it has to be measured again.", "chronograph"),
    "chrono_untrusted": Entry("The chronograph that measured your marker cannot be trusted.", "chronograph"),
    "warmer_since_test": Entry("It has become much warmer since your marker was measured.", "chronograph"),
    # incidents
    "unfit": Entry("You are not fit to play at the moment.", "first aid"),
    # discipline
    "sitting_out": Entry("You are sitting out.", "staging"),
    "stood_down": Entry("You are stood down until the head referee has decided.", "head referee"),
    "ejected": Entry("You have been ejected for today.", "head referee"),
    # field and games
    "already_on_field": Entry("You are recorded as being on a field already.", "staging"),
    "game_not_live": Entry("That game is not running.", "staging"),
    "game_closed": Entry("Nobody joins an elimination game that has started: you play the next one.", "staging"),
    "out_for_good": Entry("You are out of this game: in an elimination game out is out.", "staging"),
    "knowledge_too_old": Entry(
        "The gate has had no network for longer than the park's rules allow: it clears nobody until it has.", "staging"
    ),
    "unknown_field": Entry("There is no such field.", "staging"),
    "field_not_inspected": Entry("This field has not been inspected today.", "head referee"),
    "field_failed_inspection": Entry("This field did not pass its inspection.", "head referee"),
    "field_on_hold": Entry("Play is stopped on this field.", "head referee"),
    "field_occupied": Entry("Another game is still running or called on this field.", "staging"),
    "heads_missing": Entry("The head-count of the last game is still open.", "head referee"),
    "not_playing": Entry("You are not here as a player.", "desk"),
    "over_capacity": Entry("There are more players than this field takes.", "staging"),
    "too_few_referees": Entry("There are too few qualified referees on this field.", "head referee"),
    "check_open": Entry("A check that play waits for has not been done today.", "head referee"),
    "check_failed": Entry("A check that play waits for found a fault.", "manager"),
    "no_first_aider": Entry("There is no qualified first aider on duty.", "manager"),
    # the record itself
    "staff_not_qualified": Entry("No qualification in date for that post is recorded.", "manager"),
    "day_not_open": Entry("That operating day has not been opened.", "manager"),
    "bottle_gas_differs": Entry("That bottle's gas does not suit this marker.", "gear counter"),
    "refund_forfeited": Entry("Entry is forfeited by an ejection.", "manager"),
    "refund_exceeds_payment": Entry("More than was paid, or already refunded.", "desk"),
    "refund_exceeds_share": Entry("More than the player's own share of that payment.", "manager"),
    "refund_after_start": Entry("Entry is not refunded once a game was played.", "manager"),
    # the vault
    "legal_hold": Entry(
        "A legal hold stands on these data: they stay until a manager lifts it. What local law demands comes first.",
        "manager",
    ),
    "injury_hold": Entry(
        "These data stay since the person was a player in a recorded injury, or is a witness of an incident, until a manager lifts that hold. What local law demands comes first.",
        "manager",
    ),
    "claims_period": Entry("Claims may still come, so these data stay. What local law demands comes first.", "manager"),
    "life_not_understood": Entry(
        "The record holds something about this person that this software cannot read, so nothing is erased.", "manager"
    ),
    "record_not_understood": Entry(
        "The record holds something this software cannot read, so it does not clear you.", "manager"
    ),
}


def reason(code: str, subject: str | None = None, detail: str = "") -> Reason:
    """The reason of a code; `detail` is added to its sentence, `subject` is the tag it is about."""
    entry = REASONS[code]
    return Reason(code=code, sentence=f"{entry.sentence} {detail}".strip(), where=entry.where, subject=subject)
