"""Closing the park: nobody is left behind. Children who were not collected come first, each with the adults who answer for it.

The last look is a person's: this knows only who was registered and what was recorded. Common practice, no source; local law comes first.
"""

from collections.abc import Iterable, Iterator
from datetime import date

from contracts.checks import CheckState
from contracts.closing import Closing, GearOut, LeftOpen, OpenField, StandingHold, StillHere
from services.board.at_hand import AtHand
from services.board.heads import missing
from services.clearance.field import FIELDS, Field
from services.clearance.model import UNREAD, adults_gone
from services.clearance.runs import Run
from services.core.command import Moment
from services.core.fold import Given, Subject
from services.core.rules import RULES
from services.duty.checks import CHECKS, states
from services.equipment.kit import KIT, carried
from services.incidents.telling import OPEN
from services.registration import guardians
from services.registration.model import is_minor
from services.registration.persons import PERSON
from services.registration.states import PLAYER


def from_the_log(day: date) -> set[Subject]:
    """What is read beside what the board has at hand."""
    return {(OPEN, ""), (FIELDS, ""), (CHECKS, day.isoformat())}


def closing(at_hand: AtHand, log: Given, moment: Moment, park: str, epoch: int) -> Closing:
    """The day as it would be closed now; `log` holds what `from_the_log` names."""
    here = still_here(at_hand)
    fields = tuple(one for story in at_hand.fields for one in _open(at_hand, story))
    unreadable = at_hand.given.of(RULES, "").unreadable or any(story.unreadable for story in at_hand.fields)
    minors = sum(one.minor for one in here)
    everybody = not (here or fields or unreadable)
    return Closing(
        park=park,
        day=moment.day,
        as_of=moment.now,
        epoch=epoch,
        position=at_hand.moment.position,
        everybody_has_left=everybody,
        sentence=_everybody(at_hand) if everybody else _lacking(here, minors, fields, unreadable=unreadable),
        still_here=here,
        minors_here=minors,
        gear_out=tuple(_gear_out(at_hand)),
        fields=fields,
        holds=tuple(
            StandingHold(field=story.field, hold=one.hold, cause=one.cause, asked_at=one.asked[0])
            for story in at_hand.fields
            for one in story.standing
        ),
        incidents=tuple(sorted(log.of(OPEN, "").names)),
        checks=tuple(_checks(log, moment)),
    )


def still_here(at_hand: AtHand) -> tuple[StillHere, ...]:
    """Everybody who came today and has not left: minors first, those on a field first among them."""
    found = [
        _one(at_hand, player)
        for player in at_hand.arrivals
        if not at_hand.given.of(PLAYER, player).left or _not_understood(at_hand, player)
    ]
    return tuple(sorted(found, key=lambda one: (not one.minor, one.field is None, one.armband, one.player)))


def _one(at_hand: AtHand, player: str) -> StillHere:
    given, who = at_hand.given, at_hand.given.of(PLAYER, player)
    minor = is_minor(who.age_band, at_hand.moment.rules)
    person = given.of(PERSON, who.person)
    answer = guardians.answering(who, person, adults_gone(given, player), at_hand.moment) if minor else ()
    return StillHere(
        player=player,
        person=who.person,
        armband=who.armband,
        group=who.group,
        minor=minor,
        adults=answer,
        field=at_hand.field_of(player),
        not_understood=_not_understood(at_hand, player),
    )


def _not_understood(at_hand: AtHand, player: str) -> bool:
    return at_hand.given.of(UNREAD["player"], player).found


def _gear_out(at_hand: AtHand) -> Iterator[GearOut]:
    """Hired gear that a player of today still holds, whether he is here or not: those gone home first."""
    found = [
        GearOut(
            gear=f"{fold.prefix}:{name}",
            player=player,
            armband=at_hand.armband(player).number,
            gone_home=at_hand.given.of(PLAYER, player).left,
        )
        for player in at_hand.arrivals
        for fold, name in carried(at_hand.given.of(KIT, player))
        if (gear := at_hand.given.of(fold, name)).owner is None and gear.holder == player
    ]
    yield from sorted(found, key=lambda one: (not one.gone_home, one.armband, one.gear))


def _open(at_hand: AtHand, story: Field) -> Iterator[OpenField]:
    for run in story.runs.values():
        state = _state(run)
        if state is not None:
            names = missing(at_hand, story, run.game) if state in {"missing", "searched_for"} else ()
            if state == "searched_for" and run.heads is not None and run.heads.missing and not names:
                continue  # everybody whom it sought was seen elsewhere since
            yield OpenField(field=story.field, game=run.game, state=state, missing=names)


def _state(run: Run) -> LeftOpen | None:
    if run.waiting:
        return "called"
    if run.running:
        return "live"
    if run.uncounted:
        counted = run.heads is not None and run.over is not None and run.heads.place >= run.over
        return "missing" if counted else "not_counted"
    return "searched_for" if run.heads is not None and run.heads.search_open else None


def _checks(log: Given, moment: Moment) -> Iterator[CheckState]:
    checks, names = log.of(CHECKS, moment.day.isoformat()), log.of(FIELDS, "").names
    return (one for one in states(checks, names, "closing", moment) if one.standing != "passed")


def _everybody(at_hand: AtHand) -> str:
    if not at_hand.arrivals:
        return "Nobody was registered today. Look all the same."
    return f"Everybody has left: all {len(at_hand.arrivals)} who were registered today. Look all the same: visitors are on no list."


def _lacking(here: tuple[StillHere, ...], minors: int, fields: Iterable[OpenField], *, unreadable: bool) -> str:
    told = []
    if here:
        children = (
            f", {minors} of them minors: stay with them until each is handed to an adult who answers for it"
            if minors
            else ""
        )
        told.append(f"{len(here)} not recorded as having left{children}.")
    words = {
        "called": "a game is called",
        "live": "a game is live",
        "not_counted": "heads were not counted",
        "missing": "the head-count does not agree",
        "searched_for": "a search is open",
    }
    told += [f"Field {one.field}: {words[one.state]} (game {one.game})." for one in fields]
    if unreadable:
        told.append("The record holds something that this software cannot read: go by lists on paper.")
    return " ".join(told)
