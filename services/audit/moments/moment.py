"""A player's clearance at a moment of the past, on both axes, and the events that make the two differ.

The gate's answer stays right on what was recorded. What was told later shows how it was; both are said, and what lies between them is named.
"""

from collections.abc import Collection
from datetime import datetime
from itertools import chain
from typing import Any, Final

from msgspec import Struct

from contracts.envelope import Reason, Recorded
from contracts.moments import ClearanceAt, Late, Side
from contracts.rules import Rules
from services.audit.moments.corrections import CORRECTIONS, effective
from services.audit.moments.past import Past
from services.audit.words.scene import Scene
from services.audit.words.telling import sentence
from services.clearance import model as clearance
from services.clearance import play
from services.core.command import Moment
from services.core.fold import Given
from services.core.rules import RULES, operating_day

TRIED: Final = 40
"""Late events that are left out one by one, to see which of them make a difference."""

_NOUNS: Final = {
    "caution_voided": "withdrawal of a caution",
    "caution_resolved": "naming of a caution",
    "separate_act_ruled": "ruling on a separate act",
    "appeal_decided": "decision of an appeal",
    "payment_voided": "withdrawal of a payment",
    "withdrawal_voided": "withdrawal of a mistaken entry about consent",
    "consent_withdrawn": "withdrawal of consent",
    "chrono_checked": "check of the chronograph",
    "marker_tested": "test of a marker",
    "marker_spot_checked": "spot check of a marker",
    "player_out": "word that he was off the field",
    "out_voided": "withdrawal of the word that he was off the field",
    "player_unfit": "word that he was unfit",
    "player_left": "word that he had left",
    "player_returned": "word that he was back",
}


class Axes(Struct, frozen=True):
    """Both pasts that are compared, each with the moment for which it is asked."""

    recorded: Past
    recorded_at: datetime
    happened: Past
    happened_at: datetime


async def clearance_at(axes: Axes, park: str, player: str, field: str) -> ClearanceAt:
    """Both answers, and what makes them differ."""
    recorded = await _judged(axes.recorded, axes.recorded_at, player, field)
    happened = await _judged(axes.happened, axes.happened_at, player, field)
    rules = (await axes.happened.load(lambda _: ())).of(RULES, "").rules
    scene = Scene(f"player:{player}", rules)
    differ = _said(recorded) != _said(happened)
    because = await _because(axes, player, field, _apart(recorded, happened)) if differ else []
    told = [late_of(event, axes.happened, scene) for event in because]
    return ClearanceAt(
        park=park,
        player=player,
        field=field,
        time_zone=rules.time_zone,
        as_recorded=recorded,
        as_happened=happened,
        differ=differ,
        difference=_difference(axes, scene, recorded, happened, told),
        because=tuple(told),
    )


async def _judged(past: Past, now: datetime, player: str, field: str, without: Collection[int] = ()) -> Side:
    """The answer of the gate at a moment: the player's own reasons, then the field's against anybody."""
    reads = clearance.subjects(player, field)
    given = await past.load(lambda given: {*reads(given), *play.subjects(field, given)}, without)
    moment = moment_of(given, past, now)
    found = clearance.reasons(given, player, field, moment)
    found += [one for one in play.at_the_gate(given, field, moment) if one not in found]
    return Side(cleared=not found, reasons=tuple(found), basis=moment.basis)


def moment_of(given: Given, past: Past, now: datetime) -> Moment:
    """The moment that a past is asked about, under the rules then in force."""
    rules = given.of(RULES, "").rules
    return Moment(now=now, occurred_at=now, day=operating_day(rules, now), rules=rules, position=past.known)


def _said(side: Side) -> frozenset[tuple[str, str | None]]:
    return frozenset((one.code, one.subject) for one in side.reasons)


def _apart(one: Side, other: Side) -> frozenset[tuple[str, str | None]]:
    return _said(one) ^ _said(other)


async def _because(
    axes: Axes, player: str, field: str, apart: frozenset[tuple[str, str | None]]
) -> list[Recorded[Any]]:
    """The events without which the two would not differ as they do; where none is so by itself, all that may have a part in it."""
    suspects = _suspects(axes)
    decisive = []
    for event in suspects[:TRIED]:
        without = {event.position}
        recorded = await _judged(axes.recorded, axes.recorded_at, player, field, without)
        happened = await _judged(axes.happened, axes.happened_at, player, field, without)
        if _apart(recorded, happened) != apart:
            decisive.append(event)
    return decisive or suspects


def _suspects(axes: Axes) -> list[Recorded[Any]]:
    """What one side knows and the other does not; and what was told after something that happened later."""
    recorded, happened = axes.recorded.events(), axes.happened.events()
    found = dict(chain(recorded.items(), happened.items()))
    one_sided = {position for position in found if (position in recorded) != (position in happened)}
    newest: datetime | None = None
    for position in sorted(found):
        at = found[position].occurred_at
        if newest is not None and at < newest:
            one_sided.add(position)
        newest = at if newest is None else max(newest, at)
    return [found[position] for position in sorted(one_sided)]


def late_of(event: Recorded[Any], past: Past, scene: Scene) -> Late:
    since = effective(event, past.events().values())
    back = since < event.occurred_at
    return Late(
        epoch=event.epoch,
        position=event.position,
        type=event.type,
        occurred_at=event.occurred_at,
        effective_at=since,
        recorded_at=event.recorded_at,
        sentence=sentence(event.data, scene),
        why=CORRECTIONS[type(event.data)](event.data).why if back else "",
    )


def _difference(axes: Axes, scene: Scene, recorded: Side, happened: Side, late: list[Late]) -> str:
    at, then = scene.clock(axes.recorded_at), scene.clock(axes.happened_at)
    if _said(recorded) == _said(happened):
        moments = (
            at if axes.recorded_at == axes.happened_at else f"{at} on what was recorded and at {then} as it happened"
        )
        return f"At {moments} both say the same: {_answer(recorded)}."
    told = "; ".join(arrival(one, scene.rules, axes.happened_at) for one in late) or "time alone makes the difference"
    return f"At {at} the gate was right on what was recorded ({_answer(recorded)}); {told}. As it happened: {_answer(happened)}."


def _answer(side: Side) -> str:
    return "cleared" if side.cleared else f"not cleared, {', '.join(_code(one) for one in side.reasons)}"


def _code(reason: Reason) -> str:
    return reason.code.replace("_", " ")


def arrival(late: Late, rules: Rules, beside: datetime) -> str:
    """When a late event happened and arrived: "the caution of 13:40 (position 812) arrived at 13:55"."""
    scene = Scene("", rules)

    def when(moment: datetime) -> str:
        same = operating_day(rules, moment) == operating_day(rules, beside)
        return scene.clock(moment) if same else f"{moment.date()} {scene.clock(moment)}"

    happened, recorded = when(late.occurred_at), when(late.recorded_at)
    told = [f"reaches back to {when(late.effective_at)}"] if late.why else []
    told += [f"arrived at {recorded}"] if recorded != happened or not told else []
    return f"the {_noun(late.type)} of {happened} (position {late.position}) {' and '.join(told)}"


def _noun(name: str) -> str:
    """What an event of a type is called: a caution voided is the withdrawal of a caution."""
    what = name.partition(".")[2]
    return _NOUNS.get(what) or what.removesuffix("_recorded").replace("_", " ")
