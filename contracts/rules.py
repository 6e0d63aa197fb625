"""The park rules as data. Adopting a version is an event; every decision names the version it used.

Eye protection is no rule here: no field of these structures can waive it.
Every default is common practice in the trade, no source, unless a comment names one. Local law, the insurer's rules and
licensed practice come first.
"""

from typing import Annotated, Literal

from msgspec import Meta, Struct

from contracts.first_aid import REMINDERS, Reminder
from contracts.limits import Limit, Mass
from contracts.weather import WeatherRules
from contracts.words import Calibre, Minutes, Role, Speed, Wording

Count = Annotated[int, Meta(ge=0, le=10_000)]
Weight = Annotated[Literal[0, 1, 2], Meta(description="0 is a note, 1 a caution, 2 weighs two cautions.")]


class _Rules(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    pass


class WaiverRules(_Rules, frozen=True, kw_only=True):
    """Which wordings of the waiver are accepted, and for how long. The first is the one offered for signing."""

    accepted: Annotated[tuple[Wording, ...], Meta(min_length=1)] = ("w1",)
    valid_days: Annotated[int, Meta(ge=1, le=3660)] = 365
    majority_years: Literal[14, 16, 18] = 18
    """Below it a person's own guardian must consent. Only ages that the age bands tell apart."""


class BriefingRules(_Rules, frozen=True, kw_only=True):
    """The safety briefing's version. Arrivals hear `version`; everybody must have heard at least `urgent_version`."""

    version: Annotated[int, Meta(ge=1)] = 1
    urgent_version: Annotated[int, Meta(ge=1)] = 1
    text: str = (
        "Eye protection stays on and sealed until you are outside the netting, whatever happens: if it fogs or slips, raise a hand and call a referee. "
        "Barrel cover on whenever you are off the field. Never fire at a person closer than 3 m, at a raised hand or at a face without a mask. "
        "A ball that breaks on you puts you out: hand up, call it, walk off. The word of the referee on the field is final. "
        "No physical contact, no climbing, no wiping. Tell staff before you play if you are unwell, injured or have been drinking. "
        "In an emergency stop, cover your barrel and call out; staff call the emergency services. Local law and the insurer's rules come first."
    )


class Ball(_Rules, frozen=True, kw_only=True):
    """The mass in grams that a ball of a calibre is taken to have where nobody weighed the paint: the heaviest that is sold, to be safe."""

    calibre: Calibre
    mass_g: Mass


class ChronoRules(_Rules, frozen=True, kw_only=True):
    """When a chronograph can be trusted. A check's value is the mean of its readings less the reference's of the same shots, in ft/s."""

    check_readings: Annotated[int, Meta(ge=1, le=50)] = 3
    """A check of fewer shots than this does not open a chronograph."""
    check_sd_fps: Annotated[float, Meta(gt=0, le=20)] = 0.8
    """The standard deviation of a check's value while nothing is wrong: set your own from twenty checks or more."""
    bias_fps: Annotated[float, Meta(gt=0, le=20)] = 3.0
    """A check further off than this closes the chronograph by itself, whatever the charts say."""
    shewhart_width: Annotated[float, Meta(ge=1, le=6)] = 3.0
    """Limits of single checks, in standard deviations (NIST/SEMATECH e-Handbook 6.3.2)."""
    ewma_weight: Annotated[float, Meta(gt=0, le=1)] = 0.3
    """Weight of the newest check in the moving mean (the same, 6.3.2.4)."""
    ewma_width: Annotated[float, Meta(ge=1, le=6)] = 3.0
    hours: Annotated[float, Meta(gt=0, le=48)] = 4.0
    """A good check holds for this long; what is measured later waits for the next."""
    disagree_risk: Annotated[float, Meta(ge=1e-6, le=0.25)] = 0.01
    """How unlikely the difference of two chronographs over the same markers must be by chance before it is said that they disagree."""


class VelocityRules(_Rules, frozen=True, kw_only=True):
    """How a string of readings is judged against the strictest of the field's, the park's and the law's limits."""

    readings: Annotated[int, Meta(ge=1, le=20)] = 3
    """How many readings make a string. It is judged when they are there, and not shot on until it passes."""
    basis: Literal["every", "mean", "next_shot"] = "every"
    """What must be under the limit: every reading; the mean with its guard band; the upper bound of the next shot."""
    risk: Annotated[float, Meta(ge=1e-6, le=0.25)] = 0.05
    """Of a wrong pass, for the last two: a marker at or over the limit passes at most this often (JCGM 106; ISO 14253-1 takes 0.05)."""
    instrument_u_fps: Annotated[float, Meta(ge=0, le=20)] = 1.0
    """The chronograph's standard uncertainty, its display's rounding included."""
    comparison: Literal["<", "<="] = "<"
    spread_fps: Speed = 30.0
    """A wider extreme spread makes the string inconclusive."""
    lowest_fps: Speed = 120.0
    """A slower reading makes the string inconclusive: low pressure, or a misread."""
    no_shot_fps: Speed = 40.0
    """A slower reading was no shot: it is kept as a misread."""
    impossible_fps: Speed = 500.0
    """A faster reading cannot be true; nor may it be struck out for being high: the string decides nothing and is shot again."""
    unit: Literal["fps", "mps", "joules"] = "fps"
    """In which screens show speeds."""
    park: Limit = Limit()
    """The park's own limit for every field."""
    law: Limit = Limit()
    """What local law or the insurer allows."""
    balls: tuple[Ball, ...] = (
        Ball(calibre=".68", mass_g=3.2),
        Ball(calibre=".50", mass_g=1.3),
        Ball(calibre=".43", mass_g=0.8),
    )
    """.68: 3.2 g, the most that the trade's standard allows, as an editorial of 2009 quotes it. The others: common practice, no source."""
    chrono: ChronoRules = ChronoRules()
    own_marker_hours: Annotated[float, Meta(gt=0, le=48)] = 10.0
    rise_air_c: Annotated[float, Meta(gt=0, le=40)] = 12.0
    """A rise in temperature since the test, in kelvin, past which it no longer counts."""
    rise_co2_c: Annotated[float, Meta(gt=0, le=40)] = 6.0


class Violation(_Rules, frozen=True, kw_only=True):
    """One entry of the catalogue."""

    code: Annotated[str, Meta(pattern=r"^[a-z][a-z0-9-]{1,39}$(?!\n)")]
    weight: Weight
    title: str
    by: tuple[Role, ...] = ("referee",)
    """Who records it besides the head referee, who may record any."""


_GEAR_AND_STAGING: tuple[Role, ...] = ("referee", "staging", "gear")
CATALOGUE = (
    Violation(code="asking-for-help", weight=0, title="Asked for help (fog, jam, asthma, fear): never a violation"),
    Violation(code="accidental-contact", weight=0, title="Accidental contact"),
    Violation(code="overshooting", weight=1, title="More than three hits on one player"),
    Violation(code="close-shot", weight=1, title="Shot from too close without offering surrender"),
    Violation(code="wiping", weight=1, title="Wiped off a hit"),
    Violation(code="playing-on", weight=1, title="Played on after being out"),
    Violation(code="out-of-bounds", weight=1, title="Left the field's bounds in play"),
    Violation(code="blind-fire", weight=1, title="Fired without looking"),
    Violation(code="abuse", weight=1, title="Abusive language"),
    Violation(code="barrel-uncovered", weight=1, title="Barrel uncovered off the field", by=_GEAR_AND_STAGING),
    Violation(code="mask-lifted", weight=1, title="Mask lifted inside the netting", by=_GEAR_AND_STAGING),
    Violation(
        code="tampering",
        weight=2,
        title="Set-up changed after the test to shoot faster",
        by=("referee", "chrono"),
    ),
    Violation(code="fired-off-field", weight=2, title="Fired outside a field", by=_GEAR_AND_STAGING),
    Violation(code="physical-contact", weight=2, title="Physical contact or threat", by=_GEAR_AND_STAGING),
)


class DisciplineRules(_Rules, frozen=True, kw_only=True):
    """First offence sits out one game, the second of the day ejects; physical contact does so at once."""

    catalogue: tuple[Violation, ...] = CATALOGUE
    cautions_to_eject: Annotated[int, Meta(ge=1, le=9)] = 2
    one_act_minutes: Minutes = 5.0
    """A second entry about a player this close to another stands him down until the head referee says it was a separate act."""


Points = Annotated[int, Meta(ge=0, le=1000)]


class TeamRules(_Rules, frozen=True, kw_only=True):
    """What a difference between two teams weighs where teams are proposed, in points: hundredths of the standard deviation of skill over players.

    Zero leaves an attribute out. What the day's results say of a skill is in points as it stands.
    """

    year_points: Points = 4
    """For each year between the sums of the age bands."""
    first_timer_points: Points = 30
    own_marker_points: Points = 30
    result_points: Annotated[int, Meta(ge=0, le=10)] = 1
    favoured: Annotated[float, Meta(ge=0.51, le=0.99)] = 0.6
    """Teams are near enough while the stronger one, all differences taken to add up, wins at most with this chance. Others are told with the reason; after a one-sided game no more players change sides than it takes."""
    seconds: Annotated[float, Meta(ge=0.1, le=10)] = 1.0
    """How long the best teams are searched for at most."""


class RotationRules(_Rules, frozen=True, kw_only=True):
    """Who plays where and when for the next hours, over all fields."""

    horizon_minutes: Annotated[float, Meta(ge=30, le=480)] = 120.0
    """How far ahead the rotation is planned."""
    break_minutes: Annotated[float, Meta(ge=0, le=60)] = 7.0
    """Between two games of a field: heads counted, the next teams in and briefed. Parks take five to ten."""
    rest_minutes: Annotated[float, Meta(ge=0, le=120)] = 10.0
    """Between two games of a group: a drink, air and paint. In a private session the field's break is enough."""
    fewest_players: Annotated[int, Meta(ge=2, le=100)] = 6
    """With fewer no game is planned, but in a private session."""
    patience_minutes: Annotated[float, Meta(ge=0, le=30)] = 0.0
    """For so long a game of the plan waits for a group of its own that is known to be ready by then."""
    straggler_minutes: Annotated[float, Meta(ge=0, le=120)] = 15.0
    """For so long a group that is ready waits for those of its own who still lack something; then it is called without them."""
    firm_minutes: Annotated[float, Meta(ge=0, le=60)] = 20.0
    """What the plan says of the next minutes stands while its field is free: who was told plays, however long another has waited."""
    steady_minutes: Annotated[float, Meta(ge=0, le=120)] = 10.0
    """A group keeps its game in the plan unless another has waited longer by more than this."""


class GameRules(_Rules, frozen=True, kw_only=True):
    """Games and the staff they need."""

    full_minutes: Minutes = 8.0
    """A game shorter than this, holds not counted, serves no sit-out."""
    continuous_sit_out_minutes: Minutes = 20.0
    """In continuous games a sit-out is served by this many minutes of play."""
    players_per_referee: Annotated[int, Meta(ge=1, le=100)] = 15
    undo_minutes: Annotated[float, Meta(ge=0, le=60)] = 5.0
    """For so long a device may itself withdraw an out, a caution or a check that it recorded by mistake; later the head referee does. Common practice, no source."""
    first_aiders: Count = 1
    """First aiders on duty in the park, without whom no game starts."""
    teams: TeamRules = TeamRules()
    rotation: RotationRules = RotationRules()


class Check(_Rules, frozen=True, kw_only=True):
    """One check of the park's list: what is looked at, when and by whom, and whether play waits for it."""

    code: Annotated[str, Meta(pattern=r"^[a-z][a-z0-9-]{1,39}$(?!\n)")]
    title: Annotated[str, Meta(min_length=1, max_length=120)]
    when: Literal["opening", "closing", "both"] = "opening"
    each_field: bool = False
    """Done on every field; else once for the park."""
    play_waits: bool = False
    """No game starts where its opening check is open or found a fault."""
    by: tuple[Role, ...] = ()
    """Who does it besides the head referee and the manager, who may do any; nobody named: any staff."""


CHECKS = (
    Check(code="netting", title="Netting whole, tight and down to the ground", each_field=True, by=("referee",)),
    Check(code="field-ground", title="Ground, bunkers and signs", each_field=True, by=("referee",)),
    Check(code="emergency-access", title="Way in for an ambulance open, meeting point and address known", when="both"),
    Check(code="first-aid", title="First-aid kit and eye wash complete, telephone tried", by=("first_aider",)),
    Check(code="chronographs", title="Chronographs whole, level and powered", when="both", by=("chrono",)),
    Check(code="gear", title="Hired gear counted, masks clean, bottles in date", when="both", by=("gear",)),
    Check(code="cash", title="Cash counted", when="both", by=("desk",)),
    Check(code="field-empty", title="Field walked, nobody left", when="closing", each_field=True, by=("referee",)),
)
"""Play waits for none of them until the park's own rules say so; a field's daily inspection it waits for always."""


class DutyRules(_Rules, frozen=True, kw_only=True):
    """What is checked before the gates open and after the last game."""

    checks: tuple[Check, ...] = CHECKS


class MoneyRules(_Rules, frozen=True, kw_only=True):
    """What is recorded of the till's doings."""

    currency: Annotated[str, Meta(pattern=r"^[A-Z]{3}$(?!\n)", description="ISO 4217")] = "EUR"
    refund_after_start: bool = False
    """Whether entry is refunded once the player has been in a game."""


class VaultRules(_Rules, frozen=True, kw_only=True):
    """How long the vault keeps a person's data against claims: a choice of the park, no statement of any law. Set your own."""

    claims_years: Annotated[int, Meta(ge=0, le=100)] = 3
    """Years after the last visit in which claims may come; for a minor counted from majority. 0: none. Depends on local law."""
    majority_years: Annotated[int, Meta(ge=14, le=21)] = 18
    """From this age on a person's own time for claims runs. Depends on local law."""


class StationPrior(_Rules, frozen=True, kw_only=True):
    """What one turn at a station is taken to be before today's own are known: minutes on average, their standard deviation by the mean, and how many it serves."""

    minutes: Annotated[float, Meta(ge=0.1, le=120)]
    variation: Annotated[float, Meta(ge=0.1, le=2)] = 0.5
    heads: Annotated[int, Meta(ge=1, le=400)] = 1
    together: bool = False
    """Whoever stands there is served at once: as many as the largest turn of today took, or `heads`. Smaller turns had nobody else."""
    pace: Annotated[float, Meta(ge=0, le=1)] = 0.1
    """How far the pace of the next turns strays from today's own: the standard deviation of its logarithm, fitted to simulated days."""
    turns: Annotated[float, Meta(ge=0.1, le=100)] = 1.0
    """It counts as so many turns beside today's own: one is soon outweighed, and says that the pace itself is not known."""


class WaitRules(_Rules, frozen=True, kw_only=True):
    """How the waits at the stations are told. They bind nobody."""

    confidence: Annotated[float, Meta(ge=0.5, le=0.99)] = 0.8
    """How often the truth is to lie within a range that is told."""
    serving_minutes: Annotated[float, Meta(ge=1, le=120)] = 20.0
    """Whoever ended no turn for longer than this does not serve."""
    pause_minutes: Annotated[float, Meta(ge=0, le=30)] = 3.0
    """A turn at the desk that was first entered later than this after the one before does not follow it without a break."""
    break_minutes: Annotated[float, Meta(ge=1, le=120)] = 20.0
    """Whoever lets a line stand for longer than this is on a break: that is no turn."""
    arrivals_minutes: Annotated[float, Meta(ge=5, le=240)] = 30.0
    """Over how long it is counted how many join a line."""
    worth_minutes: Annotated[float, Meta(ge=0, le=120)] = 5.0
    """It is told what would help where that cuts the wait by at least this."""
    late_minutes: Annotated[float, Meta(ge=-10, le=30)] = 1.5
    """By how much longer than planned it takes from one start on a field to the next, on average, before today's own games are known."""
    late_spread_minutes: Annotated[float, Meta(gt=0, le=30)] = 3.0
    """The standard deviation of that."""
    late_games: Annotated[float, Meta(ge=0.1, le=100)] = 5.0
    """It counts as so many games beside today's own."""
    replanned: Annotated[float, Meta(ge=0, le=2)] = 0.24
    """By how much a planned game moves as the plan is made anew: its standard deviation, as a share of the time until then."""
    missed_rounds: Annotated[float, Meta(ge=0, le=1)] = 0.1
    """How often a group misses a game that it was planned for, since somebody is not there or lacks something; then it plays a round or so later."""
    round_minutes: Annotated[float, Meta(ge=1, le=240)] = 20.0
    told_minutes: Annotated[float, Meta(ge=5, le=480)] = 60.0
    """What is likely to begin later than this is told as later, without a range: too much may change until then."""
    desk: StationPrior = StationPrior(minutes=5.0, heads=3)
    briefing: StationPrior = StationPrior(minutes=12.0, heads=15, variation=0.25, together=True)
    gear_counter: StationPrior = StationPrior(minutes=2.0)
    chronograph: StationPrior = StationPrior(minutes=2.0)


class OfflineRules(_Rules, frozen=True, kw_only=True):
    """What a gate may decide without the network: whether somebody whom its last sync cleared goes in, and nothing else.

    Starts, issues of gear, refunds and whatever else is asked for wait for the park's answer. What has happened is recorded always.
    """

    minutes: Annotated[float, Meta(ge=0, le=60)] = 15.0
    """For so long after its last sync a gate says `cleared` of anybody; 0: never. Common practice, no source."""


class IncidentRules(_Rules, frozen=True, kw_only=True):
    """What local rules may ask to be reported: reminders, no statement of any law. Keep those that apply where the park is."""

    reminders: tuple[Reminder, ...] = REMINDERS


class Rules(_Rules, frozen=True, kw_only=True):
    """One version of a park's rules."""

    version: Wording
    time_zone: Annotated[
        str, Meta(pattern=r"^[A-Za-z_+-]+(/[A-Za-z0-9_+-]+)*$(?!\n)", description="IANA time zone")
    ] = "Etc/UTC"
    clock_tolerance_minutes: Minutes = 5.0
    """How far ahead of the server a claimed time may lie."""
    backdate_days: Annotated[int, Meta(ge=1, le=366)] = 7
    """How far back a claimed time may lie before it is impossible."""
    waiver: WaiverRules = WaiverRules()
    briefing: BriefingRules = BriefingRules()
    velocity: VelocityRules = VelocityRules()
    discipline: DisciplineRules = DisciplineRules()
    games: GameRules = GameRules()
    weather: WeatherRules = WeatherRules()
    duty: DutyRules = DutyRules()
    waits: WaitRules = WaitRules()
    money: MoneyRules = MoneyRules()
    vault: VaultRules = VaultRules()
    incidents: IncidentRules = IncidentRules()
    offline: OfflineRules = OfflineRules()


DEFAULT = Rules(version="default")
"""In force in a park that has adopted none yet."""
