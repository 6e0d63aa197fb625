"""Answers: what a string says about each field in one line, and about all of them in one verdict, for the person at the bench."""

from collections.abc import Sequence
from typing import Literal, NamedTuple

from msgspec.structs import replace

from contracts.bench import FieldAnswer
from contracts.judgement import Judgement
from contracts.rules import VelocityRules
from services.velocity.shown import shown_difference

Verdict = Literal["pass", "some", "turn_down", "inconclusive"]


class Headline(NamedTuple):
    """One verdict, its sentence, and by about how much to turn down in ft/s: for the least strict of the fields."""

    verdict: Verdict
    sentence: str
    turn_down_fps: float | None = None


def answer(field: str, title: str, found: Judgement, rules: VelocityRules, to_come: int = 0) -> FieldAnswer:
    """One field in one line; `to_come`: readings that an open string still lacks."""
    verdict: Literal["pass", "turn_down", "inconclusive", "open"] = found.verdict
    if to_come and verdict != "turn_down":
        verdict = "open"
    words = {"pass": "pass", "inconclusive": "nothing decided", "open": "not too fast so far"}
    if verdict == "turn_down":
        turn = found.turn_down_fps
        words[verdict] = "rate of fire too high" if turn is None else f"turn down {shown_difference(turn, rules)}"
    line = f"{title} {found.bound.stated}: {words[verdict]}"
    return FieldAnswer(field=field, title=title, line=line, verdict=verdict, judgement=found)


def uncounted(one: FieldAnswer) -> FieldAnswer:
    """The answer of a string that does not count: what would pass is no pass, what is too fast stays so."""
    if one.verdict != "pass":
        return one
    line = f"{one.title} {one.judgement.bound.stated}: not counted"
    return replace(one, verdict="inconclusive", line=line)


def headline(answers: Sequence[FieldAnswer], rules: VelocityRules, *, doubtful: bool) -> Headline:
    """One verdict for all the fields that were asked about. `doubtful`: what measured it cannot be trusted, so that nothing passes."""
    if not answers:
        return Headline("inconclusive", "No field has a limit yet: configure one, then this string is judged for it.")
    if any(one.verdict == "pass" for one in answers):
        return _passing(answers, doubtful=doubtful)
    undecided = next((one for one in answers if one.verdict == "inconclusive"), None)
    if undecided is not None:
        return Headline("inconclusive", undecided.judgement.sentence)
    return _turned_down(answers, rules)


def _passing(answers: Sequence[FieldAnswer], *, doubtful: bool) -> Headline:
    passing = [one for one in answers if one.verdict == "pass"]
    if doubtful:
        return Headline(
            "inconclusive",
            "Under the limit, but what measured it could not be trusted: this counts for no field. Measure it again on a chronograph that can be.",
        )
    if len(passing) == len(answers):
        return Headline(
            "pass", f"Pass for {passing[0].judgement.bound.stated if len(passing) == 1 else 'every field'}."
        )
    others = " ".join(f"{one.line}." for one in answers if one.verdict != "pass")
    return Headline("some", f"Pass for {', '.join(one.title for one in passing)}. {others}")


def _turned_down(answers: Sequence[FieldAnswer], rules: VelocityRules) -> Headline:
    """By how much for the least strict field, and for all of them; where a rate of fire is too high, that first."""
    turns = [one.judgement.turn_down_fps for one in answers]
    known = [turn for turn in turns if turn is not None]
    if len(known) < len(turns) or len(turns) == 1:
        rate = next((one for one in answers if one.judgement.turn_down_fps is None), answers[0])
        return Headline("turn_down", rate.judgement.sentence, min(known, default=None))
    least, most = (shown_difference(turn, rules) for turn in (min(known), max(known)))
    by = f"by about {least}" if least == most else f"by about {least} for the least strict field, {most} for all"
    return Headline("turn_down", f"Turn down {by}. Record that, and test it again.", min(known))
