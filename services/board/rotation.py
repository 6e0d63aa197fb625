"""The rotation of the park as it is now: what the planner needs out of the board's memory, and its plan with a sentence for who has no game.

It decides nothing. Whoever calls a game names its players, and at the start everybody's clearance is asked again.
"""

from collections.abc import Iterable
from datetime import timedelta
from itertools import dropwhile

from msgspec import Struct

from contracts.rotation import LatestGame, PlannedGame, PlannedParty
from contracts.rotation_reads import FieldShut, PartySplit, PartyWaits, RotationPlan
from services.board.at_hand import AtHand
from services.board.rotation_grounds import grounds, why_shut
from services.board.rotation_parties import Waiting, parties
from services.clearance.field import FIELD
from services.games.rotation.model import Ground, Party, Plan, Seat, Slot, Why
from services.games.rotation.planner import plan
from services.games.rotation.published import PUBLISHED, Published


class Rotation(Struct, frozen=True):
    """The park as the planner sees it."""

    grounds: tuple[Ground, ...]
    waiting: tuple[Waiting, ...]
    before: tuple[Slot, ...]

    @property
    def parties(self) -> list[Party]:
        return [one.party for one in self.waiting]


def gathered(at_hand: AtHand) -> Rotation:
    """As of the moment of what is at hand."""
    now = at_hand.moment.now
    before = tuple(
        Slot(
            field=game.field,
            start=(game.start - now).total_seconds() / 60,
            minutes=game.minutes,
            seats=tuple(Seat(one.party, one.players, one.part) for one in game.parties),
            private=game.private,
            fixed=game.fixed,
        )
        for game in ahead(at_hand)
    )
    return Rotation(tuple(grounds(at_hand)), tuple(parties(at_hand)), before)


def ahead(at_hand: AtHand) -> list[PlannedGame]:
    """The games of the published plan that nobody has called yet, in order. One that is overdue by more than itself and the rule's patience is none any more."""
    published = _published(at_hand)
    if published.plan is None:
        return []
    after = {one.field: one.game for one in published.plan.after}
    begun = {
        story.field: len(_since([run.game for run in story.runs.values()], after.get(story.field)))
        for story in at_hand.fields
    }
    found = []
    for game in sorted(published.plan.games, key=lambda one: (one.start, one.field)):
        if begun.get(game.field, 0):
            begun[game.field] -= 1
            continue
        late = timedelta(minutes=game.minutes + at_hand.moment.rules.games.rotation.steady_minutes)
        if game.start + late > at_hand.moment.now:
            found.append(game)
    return found


def _since(games: list[str], after: str | None) -> list[str]:
    """The games of a field that were called after that one; all of them where it is not known any more."""
    return list(dropwhile(lambda game: game != after, games))[1:] if after in games else games


def _published(at_hand: AtHand) -> Published:
    return at_hand.given.of(PUBLISHED, at_hand.moment.day.isoformat())


def rotation(at_hand: AtHand, park: str, epoch: int) -> RotationPlan:
    """The plan as of now, from the one that was published last."""
    moment, seen = at_hand.moment, gathered(at_hand)
    rules, published = moment.rules.games.rotation, _published(at_hand).plan
    made = plan(seen.grounds, seen.parties, seen.before, rules)
    latest = {story.field: list(at_hand.given.of(FIELD, story.field).runs)[-1:] for story in at_hand.fields}
    return RotationPlan(
        park=park,
        day=moment.day,
        as_of=moment.now,
        epoch=epoch,
        position=moment.position,
        until=moment.now + timedelta(minutes=rules.horizon_minutes),
        published=published.plan if published else None,
        after=tuple(LatestGame(field=field, game=game) for field, last in sorted(latest.items()) for game in last),
        games=tuple(_game(slot, at_hand) for slot in made.slots),
        moved=made.moved,
        waiting=tuple(_waits(seen, made)),
        shut=tuple(_shut(at_hand)),
        split=tuple(_split(seen, made)),
    )


def _game(slot: Slot, at_hand: AtHand) -> PlannedGame:
    """To the second: nobody reads more."""
    start = (at_hand.moment.now + timedelta(minutes=slot.start)).replace(microsecond=0)
    return PlannedGame(
        field=slot.field,
        start=start,
        minutes=slot.minutes,
        parties=tuple(PlannedParty(party=one.party, players=one.players, part=one.part) for one in slot.seats),
        private=slot.private,
        fixed=slot.fixed,
    )


def _waits(seen: Rotation, made: Plan) -> Iterable[PartyWaits]:
    for one in seen.waiting:
        code = made.waiting.get(one.party.name)
        if code is not None:
            yield PartyWaits(
                party=one.party.name, players=len(one.members), code=code, sentence=sentence(one, code, seen)
            )


def _shut(at_hand: AtHand) -> Iterable[FieldShut]:
    for story in at_hand.fields:
        if story.configured is not None and (found := why_shut(at_hand, story)):
            yield FieldShut(
                field=story.field,
                codes=tuple(dict.fromkeys(one.code for one in found)),
                sentence=" ".join(dict.fromkeys(one.sentence for one in found)),
            )


def sentence(one: Waiting, code: Why, seen: Rotation) -> str:
    """Why a party has no game, plainly."""
    who = _called(one.party.name)
    if code == "not_ready":
        lacking = ", ".join(f"{count} at the {where}" for where, count in one.lacking.most_common())
        return f"{who} is not ready: {lacking} first." if lacking else f"{who} is not ready before the plan ends."
    if code == "in_private":
        return f"{who} plays in its private session, and not in this plan's time elsewhere."
    if code == "no_field":
        players = max(one.party.players.values(), default=0)
        fit = sorted(field for field, count in one.party.players.items() if count == players and count)
        if not fit:
            return f"{who} is not fit for any field as it is now: age, marker or its test."
        held = [ground.field for ground in seen.grounds if ground.field in fit and ground.free_at is None]
        shut = f" Held or closed: {', '.join(held)}." if held else ""
        return f"{who} may play on {', '.join(fit)}, and none of these takes it in this plan's time.{shut}"
    if code == "too_few":
        return f"{who} is ready; too few others are for a game with it."
    return f"{who} is ready; whoever waited longer has the places of this plan."


def _called(tag: str) -> str:
    kind, _, name = tag.partition(":")
    return f"{kind.capitalize()} {name}"


def _split(seen: Rotation, made: Plan) -> Iterable[PartySplit]:
    sizes = {one.party.name: max(one.party.players.values(), default=0) for one in seen.waiting}
    for name, parts in sorted(made.parts.items()):
        largest = max((ground.places for ground in seen.grounds), default=0)
        yield PartySplit(
            party=name,
            parts=parts,
            sentence=f"{_called(name)} has {sizes[name]} players ready; no field that it may play on takes them all at once, the largest {largest}.",
        )
