"""Each field as the board shows it: what it is doing, its clock, who is in it, and what its next game waits for."""

from collections import Counter
from collections.abc import Iterable, Mapping

from contracts.board import Clock, Coming, Field, FieldState, Next, StandingHold, Team, Wait
from contracts.envelope import Reason
from contracts.reasons import REASONS
from services.board.at_hand import AtHand
from services.board.heads import count
from services.board.people import told
from services.clearance import play
from services.clearance.field import Field as FieldStory
from services.clearance.presence import PRESENCE
from services.games import showing
from services.games.line_up import LINE_UP
from services.games.states import BESIDE, GAME, Game


def shown(at_hand: AtHand, story: FieldStory, inside: int, coming: tuple[Coming, ...] = ()) -> Field:
    """One field, with so many people on it. A hold comes before everything else, and a closed field may still have a game called for it."""
    configured = story.configured
    why = _closed(at_hand, story)
    game = at_hand.given.of(GAME, story.running) if story.running else None
    return Field(
        title=configured.title if configured else story.field,
        limit=showing.limit(configured, at_hand.moment.rules.velocity) if configured else "",
        state=_state(at_hand, story, closed=bool(why)),
        teams=_teams(at_hand, game),
        non_players=_non_players(at_hand, story, game),
        inside=inside,
        why=tuple(sentence(code) for code in why),
        holds=tuple(
            StandingHold(
                hold=one.hold,
                cause=one.cause,
                asked_at=one.asked[0],
                confirmed_at=one.confirmed[0] if one.confirmed else None,
            )
            for one in story.standing
        ),
        game=story.running,
        format=game.called.format if game and game.called else None,
        clock=_clock(at_hand, story, game),
        count=count(at_hand, story),
        next=_next(at_hand, story),
        then=coming,
    )


def sentence(code: str) -> str:
    """A reason's plain sentence. Its details may name players, which a wall does not."""
    return REASONS[code].sentence


def _closed(at_hand: AtHand, story: FieldStory) -> list[str]:
    return showing.closed(story, at_hand.moment)


def _state(at_hand: AtHand, story: FieldStory, *, closed: bool) -> FieldState:
    briefed = story.waiting is not None and at_hand.given.of(LINE_UP, story.waiting).heard
    return showing.state(story, closed=closed, briefed=briefed)


def _clock(at_hand: AtHand, story: FieldStory, game: Game | None) -> Clock | None:
    return None if game is None else showing.clock(story, game, at_hand.moment.now)


def _is_in(at_hand: AtHand, player: str, game: str) -> bool:
    on = at_hand.given.of(PRESENCE, player).on
    return on is not None and on.game == game


def _teams(at_hand: AtHand, game: Game | None) -> dict[str, Team]:
    """How many of each colour are in, and how many are out."""
    if game is None:
        return {}
    colours = at_hand.given.of(LINE_UP, game.game).colours
    playing, out = Counter[str](), Counter[str]()
    for player in game.entered.keys() - game.not_playing:
        (playing if _is_in(at_hand, player, game.game) else out)[colours.get(player, "no colour")] += 1
    return {colour: Team(playing=playing[colour], out=out[colour]) for colour in sorted({*playing, *out})}


def _non_players(at_hand: AtHand, story: FieldStory, game: Game | None) -> int:
    beside = at_hand.given.of(BESIDE, story.field).entered
    inside = {player for player in beside if at_hand.field_of(player) == story.field}
    if game is not None:
        inside |= {player for player in game.not_playing if _is_in(at_hand, player, game.game)}
    return len(inside)


def _next(at_hand: AtHand, story: FieldStory) -> Next | None:
    called = at_hand.given.of(GAME, story.waiting).called if story.waiting else None
    if called is None:
        return None
    line = at_hand.given.of(LINE_UP, called.game)
    colours = {entrant.player: entrant.colour for entrant in called.entrants}
    against = {player: at_hand.verdict(player).reasons for player in colours}
    return Next(
        game=called.game,
        format=called.format,
        minutes=called.minutes,
        briefed=line.heard,
        teams=dict(sorted(Counter(colours.values()).items())),
        ready=sum(1 for reasons in against.values() if not reasons),
        waits_for=_waits(at_hand, _staffing(at_hand, story, len(colours)), against, colours),
    )


def _staffing(at_hand: AtHand, story: FieldStory, players: int) -> list[Reason]:
    """What the field, its checks and its staff have against a start now."""
    return play.reasons(at_hand.given, story.field, at_hand.moment, story.waiting, players)


def _waits(
    at_hand: AtHand,
    of_field: Iterable[Reason],
    of_players: dict[str, tuple[Reason, ...]],
    colours: Mapping[str, str],
) -> dict[str, Wait]:
    """The field's own reasons first, then each of the players' with who it is, the most common first."""
    found = {one.code: Wait(sentence=sentence(one.code), where=one.where, who=()) for one in of_field}
    who: dict[str, list[str]] = {}
    where = {}
    for player, reasons in of_players.items():
        for one in reasons:
            who.setdefault(one.code, []).append(player)
            where[one.code] = one.where
    for code, players in sorted(who.items(), key=lambda item: (-len(item[1]), item[0])):
        armbands = sorted((at_hand.armband(one, colours[one]) for one in players), key=lambda band: band.number)
        what = sentence(code) if told(code) == code else f"See {where[code]}."
        found[told(code)] = Wait(sentence=what, where=where[code], who=tuple(armbands))
    return found
