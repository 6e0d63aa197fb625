"""The roll-call: who is on which field, who is elsewhere in the park, and who is known to have come off since play was stopped there.

In doubt somebody is on the field: whose game is over stays on it until the heads are counted. Whoever clears a field walks it.
"""

from collections.abc import Iterable
from datetime import datetime

from contracts.roll_call import FieldHeads, GroupHeads, Head, RollCall
from services.board.at_hand import AtHand
from services.board.heads import missing, unaccounted
from services.clearance.field import Field as FieldStory
from services.clearance.holds import Place
from services.clearance.presence import PRESENCE, seen_elsewhere
from services.clearance.runs import Heads, Run
from services.duty.model import on_duty
from services.duty.states import FIELD_STAFF
from services.games.line_up import LINE_UP
from services.games.states import GAME
from services.registration.model import is_minor
from services.registration.states import PLAYER

Inside = dict[str, dict[str, str | None]]
"""By field: who is on it, with the game that he is in."""
AT_A_FIELD = frozenset({"referee", "head_referee"})


def inside(at_hand: AtHand) -> Inside:
    """Who is on each field: who was let in and is not known to have come off, players or not."""
    found: Inside = {story.field: {} for story in at_hand.fields}
    for player in at_hand.arrivals:
        on = at_hand.given.of(PRESENCE, player).on
        if on is not None:
            found.setdefault(on.field, {})[player] = on.game
    for story in at_hand.fields:
        for run in story.runs.values():
            if run.uncounted:
                found[story.field] |= dict.fromkeys(_uncounted(at_hand, story, run), run.game)
    return found


def _uncounted(at_hand: AtHand, story: FieldStory, run: Run) -> Iterable[str]:
    """Whom the count lacks; before it, everybody of the game who was seen nowhere else."""
    if _count_since(run) is not None and run.heads is not None and run.heads.missing:
        return missing(at_hand, story, run.game)
    game = at_hand.given.of(GAME, run.game)
    return (
        player
        for player in game.on_field
        if not seen_elsewhere(at_hand.given.of(PRESENCE, player), story.field, game.entered[player])
    )


def _count_since(run: Run) -> Heads | None:
    """The latest count or sweep after the game was over."""
    return run.heads if run.heads and run.over and run.heads.place >= run.over else None


def roll_call(at_hand: AtHand, park: str, epoch: int) -> RollCall:
    """Everybody who came today and has not left, once."""
    on, sought, moment = inside(at_hand), unaccounted(at_hand), at_hand.moment
    fields = {story.field: _field(at_hand, story, on[story.field], sought) for story in at_hand.fields}
    groups = _groups(at_hand, {player for some in on.values() for player in some}, sought)
    there = [head for field in fields.values() for head in field.on]
    elsewhere = [head for group in groups for head in group.heads]
    return RollCall(
        park=park,
        day=moment.day,
        as_of=moment.now,
        epoch=epoch,
        position=moment.position,
        on_fields=len(there),
        minors_on_fields=sum(head.minor for head in there),
        off_fields=len(elsewhere),
        minors_off_fields=sum(head.minor for head in elsewhere),
        fields=fields,
        groups=groups,
    )


def _field(at_hand: AtHand, story: FieldStory, on: dict[str, str | None], sought: set[str]) -> FieldHeads:
    since = min((hold.asked[0] for hold in story.standing), default=None)
    off = _off_since(at_hand, story, since, on) if since else {}
    return FieldHeads(
        title=story.configured.title if story.configured else story.field,
        on=_heads(at_hand, on, sought),
        staff=on_duty(at_hand.given.of(FIELD_STAFF, story.field).roster, AT_A_FIELD, at_hand.moment.day),
        stopped_since=since,
        off_since=_heads(at_hand, off, sought),
    )


def _heads(at_hand: AtHand, players: dict[str, str | None], sought: set[str]) -> tuple[Head, ...]:
    """In order of their numbers; the colour is that of the game."""
    heads = []
    for player, game in players.items():
        who = at_hand.given.of(PLAYER, player)
        colour = at_hand.given.of(LINE_UP, game).colours.get(player) if game else None
        band = at_hand.armband(player, colour)
        minor = is_minor(who.age_band, at_hand.moment.rules)
        heads.append(Head(armband=band.number, colour=band.colour, part=who.part, minor=minor, sought=player in sought))
    return tuple(sorted(heads, key=lambda head: head.armband))


def _off_since(at_hand: AtHand, story: FieldStory, since: datetime, on: dict[str, str | None]) -> dict[str, str | None]:
    """Who was on the field when play was stopped, or went on later, and is known to have come off."""
    found: dict[str, str | None] = {}
    for run in story.runs.values():
        game = at_hand.given.of(GAME, run.game)
        for player, entered in game.entered.items():
            off = _came_off(at_hand, story.field, player, entered, (game.off.get(player), _counted_off(run, player)))
            if player not in on and off is not None and off >= since:
                found[player] = run.game
    for player in at_hand.arrivals.keys() - on.keys() - found.keys():
        entry = at_hand.given.of(PRESENCE, player).entry
        if entry is not None and entry.field == story.field and entry.game is None:
            off = _came_off(at_hand, story.field, player, entry.place, ())
            if off is not None and off >= since:
                found[player] = None
    return found


def _counted_off(run: Run, player: str) -> Place | None:
    """When the heads of a game were settled; not for whom the search is open."""
    heads = _count_since(run)
    return heads.place if heads and heads.settled and player not in heads.missing else None


def _came_off(
    at_hand: AtHand, field: str, player: str, entered: Place, known: Iterable[Place | None]
) -> datetime | None:
    """When somebody was first known to be off a field after he had entered it: by his game, told, or seen elsewhere."""
    presence = at_hand.given.of(PRESENCE, player)
    places = [one for one in known if one is not None]
    places += [one.place for one in presence.exits if one.field in {field, None}]
    if presence.entry is not None and presence.entry.field != field:
        places.append(presence.entry.place)
    later = [place for place in places if place > entered]
    return min(later)[0] if later else None


def _groups(at_hand: AtHand, on: set[str], sought: set[str]) -> tuple[GroupHeads, ...]:
    """Who is in the park and on no field, the groups in order of their names, who came alone last."""
    found: dict[str | None, dict[str, str | None]] = {}
    for player in at_hand.arrivals:
        who = at_hand.given.of(PLAYER, player)
        if player not in on and not who.left:
            found.setdefault(who.group, {})[player] = None
    named = sorted(found.items(), key=lambda item: (item[0] is None, item[0] or ""))
    return tuple(GroupHeads(group=group, heads=_heads(at_hand, players, sought)) for group, players in named)
