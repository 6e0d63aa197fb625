"""Fields that play goes on upon with too few to look after it, or with a fault that a check has found since."""

from collections.abc import Iterable

from contracts.board import Alert
from services.board.at_hand import AtHand
from services.clearance.field import Field as FieldStory
from services.duty.checks import CHECKS, reasons
from services.duty.model import REFEREES, on_duty, referees_needed
from services.duty.states import FIELD_STAFF
from services.games.states import GAME


def staffing_alerts(at_hand: AtHand, titles: dict[str, str]) -> Iterable[Alert]:
    """A referee who leaves while a game is live, or is no longer qualified, is missed at once: nobody waits for the next start."""
    for story in at_hand.fields:
        if story.running is not None:
            yield from _referees(at_hand, story, titles[story.field])
            yield from _faults(at_hand, story, titles[story.field])


def _referees(at_hand: AtHand, story: FieldStory, title: str) -> Iterable[Alert]:
    moment, game = at_hand.moment, at_hand.given.of(GAME, story.running or "")
    players = len(game.playing)
    needed = referees_needed(players, moment.rules.games.players_per_referee)
    here = on_duty(at_hand.given.of(FIELD_STAFF, story.field).roster, REFEREES, moment.day)
    if here < needed:
        sentence = (
            f"{title} is live with {here} of {needed} referees for its {players} players. Send one, or stop play."
        )
        yield Alert(kind="too_few_referees", sentence=sentence, field=story.field)


def _faults(at_hand: AtHand, story: FieldStory, title: str) -> Iterable[Alert]:
    moment = at_hand.moment
    found = reasons(at_hand.given.of(CHECKS, moment.day.isoformat()), story.field, moment)
    if any(one.code == "check_failed" for one in found):
        sentence = f"A check found a fault while {title} is live. Look, and stop play where it is not safe."
        yield Alert(kind="check_failed", sentence=sentence, field=story.field)
