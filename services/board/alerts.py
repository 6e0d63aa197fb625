"""Alerts: what somebody must see to now, the most urgent first."""

from collections.abc import Iterable
from typing import Final

from contracts.board import Alert
from services.board.aid import aid_alerts
from services.board.at_hand import AtHand
from services.board.entries import entry_alert
from services.board.heads import missing, short
from services.board.instruments import chrono_alerts
from services.board.notes import SPOT_CHECK, UNRESOLVED
from services.board.reports import report_alerts
from services.board.staffing import staffing_alerts
from services.board.weather import weather_alerts
from services.clearance.field import Field as FieldStory
from services.clearance.presence import PRESENCE, Entry
from services.clearance.runs import Run
from services.duty.model import FIRST_AIDERS, on_duty
from services.duty.states import OPENED_DAY, PARK_STAFF
from services.equipment.kit import KIT
from services.games.line_up import LINE_UP
from services.velocity.states import BENCH

OFF_THE_FIELD: Final = frozenset(
    {"ejected", "stood_down", "sitting_out", "unfit", "banned", "consent_missing", "record_not_understood"}
)
"""Reasons that take somebody off a field he is on already."""
NAMED: Final = 5
"""Armbands that one sentence names."""


def alerts(at_hand: AtHand) -> tuple[Alert, ...]:
    """Everything that stands, the same whoever asks."""
    stories = at_hand.fields
    titles = {story.field: _title(story) for story in stories}
    return (
        *(alert for story in stories for alert in _holds(story)),
        *aid_alerts(at_hand, titles),
        *weather_alerts(at_hand),
        *(alert for story in stories for alert in _heads(at_hand, story)),
        *_on_fields(at_hand, titles),
        *chrono_alerts(at_hand, titles),
        *_first_aid(at_hand),
        *staffing_alerts(at_hand, titles),
        *_unresolved(at_hand, titles),
        *report_alerts(at_hand),
    )


def _title(story: FieldStory) -> str:
    return story.configured.title if story.configured else story.field


def _holds(story: FieldStory) -> Iterable[Alert]:
    asked = [one for one in story.standing if one.confirmed is None]
    if asked:
        first = min(asked, key=lambda one: one.asked)
        sentence = f"Hold asked on {_title(story)} and not confirmed. Referee: stop play, covers on, then confirm."
        yield Alert(kind="hold_not_confirmed", sentence=sentence, field=story.field, since=first.asked[0])


def _heads(at_hand: AtHand, story: FieldStory) -> Iterable[Alert]:
    for run in story.runs.values():
        if run.heads is None or not (run.uncounted or run.heads.search_open):
            continue
        colours = at_hand.given.of(LINE_UP, run.game).colours
        players = missing(at_hand, story, run.game)
        if not players:
            yield from _nobody_named(story, run)
            continue
        who = ", ".join(_called(at_hand, player, colours.get(player)) for player in players[:NAMED])
        if len(players) > NAMED:
            who += f" and {len(players) - NAMED} more"
        lack, title = short(at_hand, run.game, players), _title(story)
        some = lack < len(players)
        if run.uncounted:
            sentence = f"{lack} missing on {title}, one of: {who}." if some else f"Missing on {title}: {who}."
            sentence += " Keep it shut."
            yield Alert(kind="heads_missing", sentence=sentence, field=story.field, since=run.heads.place[0])
        else:
            sentence = f"Search open for {f'{lack}, one of: ' if some else ''}{who}; last on {title}."
            yield Alert(kind="search_open", sentence=sentence, field=story.field, since=run.heads.place[0])


def _nobody_named(story: FieldStory, run: Run) -> Iterable[Alert]:
    """A count that was too high, and a search of which no count says for whom."""
    heads, title = run.heads, _title(story)
    if heads is not None and run.uncounted and heads.counted > heads.expected:
        sentence = f"{heads.counted} came off {title} where {heads.expected} were expected. Count again; keep it shut."
        yield Alert(kind="heads_missing", sentence=sentence, field=story.field, since=heads.place[0])
    elif heads is not None and heads.search_open and not heads.missing:
        sentence = f"Search open on {title}, and nobody was counted: count heads to know whom it seeks."
        yield Alert(kind="search_open", sentence=sentence, field=story.field, since=heads.place[0])


def _called(at_hand: AtHand, player: str, colour: str | None) -> str:
    number = at_hand.armband(player).number
    return f"{colour} {number}" if colour else f"armband {number}"


def _on_fields(at_hand: AtHand, titles: dict[str, str]) -> Iterable[Alert]:
    """Whoever is on a field and may not be any more, and markers over the stop limit there."""
    for player, verdict in at_hand.verdicts.items():
        on = at_hand.given.of(PRESENCE, player).on if verdict.whereabouts == "on_field" else None
        if on is None:
            continue
        colours = at_hand.given.of(LINE_UP, on.game).colours if on.game else {}
        who, where = _called(at_hand, player, colours.get(player)), titles.get(on.field, on.field)
        against = [one for one in verdict.reasons if one.code in OFF_THE_FIELD]
        told = entry_alert(on, who, where)
        if told:
            yield told
        elif against:
            sentence = f"{who} on {where} is no longer cleared. Take off the field, to {against[0].where}."
            yield Alert(kind="not_cleared_on_field", sentence=_capital(sentence), field=on.field, since=on.place[0])
        for speed, limit in _too_fast(at_hand, player, on):
            sentence = (
                f"{who} on {where}: marker at {speed:g} ft/s, stop limit {limit:g}. Cover on, off the field, retest."
            )
            yield Alert(kind="over_stop_limit", sentence=_capital(sentence), field=on.field, since=on.place[0])


def _too_fast(at_hand: AtHand, player: str, on: Entry) -> Iterable[tuple[float, float]]:
    """Readings over the stop limit of a marker that he carries, taken since he entered, and not measured anew."""
    for marker in at_hand.given.of(KIT, player).markers:
        check = at_hand.given.of(SPOT_CHECK, marker)
        retested = bool(at_hand.given.of(BENCH, marker).tests)
        if check.over_stop and check.place and check.field == on.field and check.place > on.place and not retested:
            yield check.speed_fps, check.stop_limit_fps


def _capital(sentence: str) -> str:
    return sentence[0].upper() + sentence[1:]


def _first_aid(at_hand: AtHand) -> Iterable[Alert]:
    moment = at_hand.moment
    needed, here = (
        moment.rules.games.first_aiders,
        on_duty(at_hand.given.of(PARK_STAFF, "").roster, FIRST_AIDERS, moment.day),
    )
    if at_hand.given.of(OPENED_DAY, "").opened == moment.day and here < needed:
        sentence = f"First aiders on duty: {here}; needed: {needed}. No game starts."
        yield Alert(kind="no_first_aider", sentence=sentence)


def _unresolved(at_hand: AtHand, titles: dict[str, str]) -> Iterable[Alert]:
    """Cautions that hold against nobody until somebody says whom they are about."""
    for caution, whom in at_hand.given.of(UNRESOLVED, "").cautions.items():
        where = titles.get(whom.field, whom.field)
        sentence = f"Caution {caution}: {whom.colour} {whom.armband} on {where}: staging says who it was."
        yield Alert(kind="unresolved_caution", sentence=sentence, field=whom.field, since=whom.happened)
