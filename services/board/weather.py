"""The weather as the board shows it: how hot it is and what that demands, the last lightning, and when play may be resumed at the earliest."""

from collections.abc import Iterable
from typing import Final
from zoneinfo import ZoneInfo

from contracts.board import Alert, Weather
from services.board.at_hand import AtHand
from services.park import heat, lightning
from services.park.states import HEAT, LIGHTNING

SHELTER: Final = "Everybody into a building or a car, masks on until outside the netting."


def weather(at_hand: AtHand) -> Weather | None:
    """None while nothing is known that could stop play. Lightning is told until play may be resumed."""
    rules, now = at_hand.moment.rules, at_hand.moment.now
    last, measured = at_hand.given.of(LIGHTNING, "").last, at_hand.given.of(HEAT, "").weather
    resume = lightning.resume_at(last, rules) if last else None
    if resume is None or resume <= now:
        last = resume = None
    if measured is None:
        return Weather(lightning_at=last, resume_at=resume) if last else None
    found = heat.hot(measured)
    return Weather(
        wbgt_c=found.wbgt_c if found.wbgt_c is None else round(found.wbgt_c, 1),
        heat_index_c=found.heat_index_c if found.heat_index_c is None else round(found.heat_index_c, 1),
        demands=heat.demanded(found, rules),
        lightning_at=last,
        resume_at=resume,
    )


def weather_alerts(at_hand: AtHand) -> Iterable[Alert]:
    """Lightning first, then heat."""
    shown = weather(at_hand)
    if shown is None:
        return
    if shown.lightning_at and shown.resume_at:
        zone = ZoneInfo(at_hand.moment.rules.time_zone)
        last, resume = (f"{one.astimezone(zone):%H:%M}" for one in (shown.lightning_at, shown.resume_at))
        sentence = f"Lightning: the last flash or thunder was at {last}. {SHELTER} No field that is held for it resumes before {resume}."
        yield Alert(kind="lightning", sentence=sentence, since=shown.lightning_at)
    if shown.demands:
        place = at_hand.given.of(HEAT, "").place
        yield Alert(kind="heat", sentence=heat.ADVICE[shown.demands], since=place[0] if place else None)
