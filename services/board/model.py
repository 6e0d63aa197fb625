"""The board: a park at a glance.

Is anything on hold? Who is on which field? What is the next game waiting for? How long are the queues?
It decides nothing. Whoever stands at the gate still looks, and the referee on the field decides.
"""

from contracts.board import Status
from services.board.alerts import alerts
from services.board.at_hand import AtHand
from services.board.fields import shown
from services.board.people import counts, stations
from services.board.roll_call import inside
from services.board.rotation_wall import coming
from services.board.weather import weather
from services.duty.states import OPENED_DAY


def status(at_hand: AtHand, park: str, epoch: int) -> Status:
    """The park's live status, as of the moment and position of what is at hand."""
    moment, on, then = at_hand.moment, inside(at_hand), coming(at_hand)
    return Status(
        park=park,
        day=moment.day,
        opened=at_hand.given.of(OPENED_DAY, "").opened == moment.day,
        time_zone=moment.rules.time_zone,
        as_of=moment.now,
        epoch=epoch,
        position=moment.position,
        fields={
            story.field: shown(at_hand, story, len(on[story.field]), then.get(story.field, ()))
            for story in at_hand.fields
        },
        stations=stations(at_hand),
        players=counts(at_hand),
        alerts=alerts(at_hand),
        weather=weather(at_hand),
    )
