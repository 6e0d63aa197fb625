"""A version of the park rules in sentences."""

from contracts.rules import Rules, Violation
from services.audit.cases.report.moments import counted, listed, plainly
from services.audit.words.judging import judged, left_out, strictest
from services.audit.words.weather import bands, lightning

WEIGHTS = ("a note", "one caution", "two cautions")


def sentences(rules: Rules) -> tuple[str, ...]:
    """What these rules say, in the words of the trade."""
    velocity, discipline, games, waiver = rules.velocity, rules.discipline, rules.games, rules.waiver
    refund = "is" if rules.money.refund_after_start else "is not"
    return (
        "Eye protection: no rule can waive it. It stays on and sealed until outside the netting.",
        f"Waiver: wording {listed(waiver.accepted)}, good for {waiver.valid_days} days. Below {waiver.majority_years} years a person's own parent or legal guardian must consent.",
        f"Briefing: arrivals hear version {rules.briefing.version}; everybody must have heard at least version {rules.briefing.urgent_version}.",
        f"Velocity: a test needs {judged(velocity)}.",
        *filter(None, (strictest(velocity),)),
        f"Of a test: a string that spreads over more than {velocity.spread_fps:g} ft/s, holds a reading under {velocity.lowest_fps:g} ft/s, or was shot at low pressure, decides nothing. {left_out(velocity)} No reading is struck out for being high.",
        f"A player's own marker is measured again after {velocity.own_marker_hours:g} hours; a rise of {velocity.rise_air_c:g} K ({velocity.rise_co2_c:g} K with CO2) since the test voids it.",
        (
            f"Discipline: a caution owes a game to sit out; {counted(discipline.cautions_to_eject, 'caution')} on one day eject, and the entry is forfeited. A violation that weighs two stands the player down at once until the head referee has decided. "
            f"A second entry within {discipline.one_act_minutes:g} minutes of another counts once the head referee says it was a separate act."
        ),
        f"Games: one shorter than {games.full_minutes:g} minutes, holds not counted, serves no sit-out. One referee for every {games.players_per_referee} players; {counted(games.first_aiders, 'first aider')} on duty in the park before a game starts.",
        lightning(rules.weather.lightning),
        *bands(rules.weather.heat),
        f"Money: entry {refund} refunded once a game was played.",
    )


def catalogue(rules: Rules) -> tuple[tuple[str, ...], ...]:
    """The violations, what each weighs, and who besides the head referee records it."""
    return tuple(_row(one) for one in rules.discipline.catalogue)


def _row(violation: Violation) -> tuple[str, ...]:
    return violation.title, WEIGHTS[violation.weight], ", ".join(plainly(role) for role in violation.by)
