"""The bench: what the person at one chronograph sees of the string that is open, the test before it, and the instrument."""

from collections.abc import Iterable, Sequence
from typing import Final

from msgspec import Struct

from contracts import bench as shown
from contracts.bench import FieldAnswer, LastString, Shown, StringSoFar
from contracts.envelope import Recorded
from contracts.games import FieldConfigured
from contracts.problems import UnknownSubject
from contracts.rules import VelocityRules
from contracts.velocity import MarkerTested, Misread
from services.core.command import Moment, must_know
from services.core.fold import Fold, Given, Subject
from services.velocity import chronos as instruments
from services.velocity import model, report
from services.velocity.answers import Headline, answer, headline, uncounted
from services.velocity.judging import Shot, judgement, needed
from services.velocity.limits import ball_mass, of_field, strictest
from services.velocity.shooting import SHOOTING, Shooting
from services.velocity.states import BENCH, CHRONO, Bench, Limits

EARLIER: Final = "Another string was too fast: that stands until the set-up is changed. "
CHANGED: Final = Headline("inconclusive", "The set-up has been changed since: this string counts no more. Test again.")
EXPIRED: Final = Headline("inconclusive", "It was under the limit, but too long ago to count by now. Test again.")


class Fields(Struct, frozen=True):
    """Every field as it is configured now, by name."""

    configured: tuple[tuple[str, str, Limits], ...] = ()
    """Its name, its title, its limits; in order of title."""


def _configured(fields: Fields, event: Recorded[FieldConfigured]) -> Fields:
    data = event.data
    others = [one for one in fields.configured if one[0] != data.field]
    return Fields(tuple(sorted([*others, (data.field, data.title, of_field(data))], key=lambda one: (one[1], one[0]))))


FIELDS: Final[Fold[Fields]] = Fold("velocity.fields", "fields", lambda _: Fields(), {FieldConfigured: _configured})


def subjects(chrono: str, given: Given) -> set[Subject]:
    """What the bench of a chronograph shows."""
    shooting = given.of(SHOOTING, chrono)
    of_the_chronograph: set[Subject] = {(CHRONO, chrono), (SHOOTING, chrono), (FIELDS, "")}
    markers = {one.marker for one in (shooting.string, shooting.last) if one is not None}
    return of_the_chronograph | {(BENCH, marker) for marker in markers}


def view(park: str, epoch: int, chrono: str, field: str | None, given: Given, moment: Moment) -> shown.Bench:  # noqa: PLR0913, PLR0917
    """The whole answer; raises UnknownSubject for a chronograph or a field that the record does not know."""
    instrument, shooting = given.of(CHRONO, chrono), given.of(SHOOTING, chrono)
    must_know(instrument.registered, f"chrono:{chrono}")
    fields = _fields(given.of(FIELDS, ""), field)
    rules = moment.rules.velocity
    return shown.Bench(
        park=park,
        chrono=chrono,
        epoch=epoch,
        position=moment.position,
        as_of=moment.now,
        time_zone=moment.rules.time_zone,
        unit=rules.unit,
        basis=rules.basis,
        needed=needed(rules),
        field=field,
        string=_open(shooting, given, fields, rules),
        last=_finished(shooting, given, fields, moment),
        strays=tuple(Shown(speed_fps=one.speed_fps, misread=one.misread) for one in shooting.strays),
        instrument=report.standing(instrument, moment.now, moment.rules),
        checks=report.chart(instrument, moment.now, rules.chrono),
        check_readings=rules.chrono.check_readings,
        bias_limit_fps=rules.chrono.bias_fps,
    )


def _fields(fields: Fields, asked: str | None) -> list[tuple[str, str, Limits]]:
    found = [one for one in fields.configured if asked in {None, one[0]}]
    if asked is not None and not found:
        raise UnknownSubject(
            f"The record knows no field {asked}. Configure it first, or ask for another.", where=f"field:{asked}"
        )
    return found


def _open(
    shooting: Shooting, given: Given, fields: Iterable[tuple[str, str, Limits]], rules: VelocityRules
) -> StringSoFar | None:
    string, since = shooting.string, shooting.since
    if string is None or since is None:
        return None
    marker = given.of(BENCH, string.marker)
    ball_g = ball_mass(marker.calibre, string.ball_g, rules)
    so_far = Shot(
        shooting.readings,
        ball_g,
        shooting.misreads,
        rate_bps=string.rate_bps,
        calibre=marker.calibre,
        firing_mode=marker.firing_mode,
    )
    lacking = needed(rules) - len(shooting.readings)
    to_come = max(1, lacking)  # it ends with a reading, however few the rules ask for by now
    return StringSoFar(
        test=string.test,
        marker=string.marker,
        opened_at=since[0],
        sealed=string.sealed,
        calibre=marker.calibre,
        ball_g=ball_g,
        shown=in_order(shooting.readings, shooting.misreads),
        to_come=to_come,
        set_up_changed=marker.voided is not None and marker.voided >= since,
        fields=tuple(
            answer(name, title, judgement(so_far, strictest(limits, ball_g, rules), rules), rules, to_come)
            for name, title, limits in fields
        ),
    )


def _finished(
    shooting: Shooting, given: Given, fields: Sequence[tuple[str, str, Limits]], moment: Moment
) -> LastString | None:
    test, ended, rules = shooting.last, shooting.ended, moment.rules.velocity
    if test is None or ended is None:
        return None
    marker = given.of(BENCH, test.marker)
    ball_g = ball_mass(marker.calibre, test.ball_g, rules)
    counted = next((one for one in marker.tests if (one.test, one.chrono) == (test.test, test.chrono)), None)
    changed = counted is None
    own = _shot(test, marker, ball_g)
    answers: list[FieldAnswer] = []
    stands = False
    for name, title, limits in fields:
        found = judgement(own, strictest(limits, ball_g, rules), rules)
        worst = None if changed else model.judged(marker, limits, rules)
        if worst is not None and worst.verdict == "turn_down" and found.verdict != "turn_down":
            found, stands = worst, True
        answers.append(answer(name, title, found, rules))
    doubt = counted and instruments.trust_throughout(given.of(CHRONO, test.chrono), counted, rules.chrono).doubt
    expired = counted is not None and model.expired(marker, counted, moment, None)
    over_all = CHANGED if changed else headline(answers, rules, doubtful=doubt is not None)
    if expired and over_all.verdict in {"pass", "some"}:
        over_all = EXPIRED
    return LastString(
        test=test.test,
        marker=test.marker,
        at=ended[0],
        sealed=test.sealed,
        calibre=marker.calibre,
        ball_g=ball_g,
        shown=in_order(test.readings_fps, test.misreads),
        verdict=over_all.verdict,
        sentence=f"{EARLIER if stands else ''}{over_all.sentence}",
        turn_down_fps=over_all.turn_down_fps,
        set_up_changed=changed,
        stands=stands,
        fields=tuple(uncounted(one) if changed or doubt or expired else one for one in answers),
    )


def _shot(test: MarkerTested, marker: Bench, ball_g: float) -> Shot:
    return Shot(
        test.readings_fps,
        ball_g,
        test.misreads,
        low_pressure=test.low_pressure,
        rate_bps=test.rate_bps,
        calibre=marker.calibre,
        firing_mode=marker.firing_mode,
    )


def in_order(readings: Sequence[float], misreads: Sequence[Misread]) -> tuple[Shown, ...]:
    """What was shown, in the order in which it came."""
    found: list[Shown] = []
    for count in range(len(readings) + 1):
        found += [Shown(speed_fps=one.speed_fps, misread=one.kind) for one in misreads if one.after == count]
        found += [Shown(speed_fps=speed) for speed in readings[count : count + 1]]
    return tuple(found)
