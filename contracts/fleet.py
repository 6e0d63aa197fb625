"""The hired fleet through the days: which markers to test again first, and which creep, spread or stop."""

from datetime import date, datetime
from typing import Literal

from msgspec import Struct

from contracts.problems import UnknownSubject
from contracts.read import AT_LEAST, FROM_READ_TABLES, Parameter, Read
from contracts.words import Day, FieldId, Role

RETESTERS: frozenset[Role] = frozenset({"chrono", "gear", "staging", "referee", "head_referee", "manager", "auditor"})
KEEPERS: frozenset[Role] = frozenset({"gear", "chrono", "manager", "auditor"})
Kind = Literal["creep", "spread", "stoppage"]


class Retest(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One marker for one field. `risk`: about the probability that its next shot reaches the limit; 1 where no string of its set-up counts."""

    marker: str
    model: str
    holder: str | None = None
    """Who holds it today, where anybody does."""
    risk: float
    limit_fps: float
    """The strictest of all limits for its ball, in ft/s."""
    expected_fps: float | None = None
    """About how fast it is by now, in ft/s."""
    sentence: str


class Retests(Struct, frozen=True, kw_only=True):
    """Those in somebody's hands come first, then by risk."""

    epoch: int
    position: int
    now: datetime
    field: str
    markers: tuple[Retest, ...]


class Result(Struct, frozen=True, kw_only=True):
    """One thing that was looked for in one marker, or in one model.

    `estimate` and `against`: ft/s an hour gained, and what the model gains; the standard deviation in ft/s, and that of the rest; times stopped a use, and
    the rest's. `p`: how likely so much or more is by chance; `adjusted_p`: the same once it is reckoned how often was looked.
    """

    kind: Kind
    estimate: float
    against: float | None
    n: int
    """Points of its lines, or slopes of its markers; strings; uses."""
    p: float
    adjusted_p: float
    found: bool
    sentence: str


class Looked(Struct, frozen=True, kw_only=True):
    """What the days say about one marker, or about all of one model."""

    of: Literal["marker", "model"]
    name: str
    model: str
    markers: int
    strings: int
    uses: int
    """How often it was given out."""
    stoppages: int
    mean_fps: float | None
    results: tuple[Result, ...]


class FleetReport(Struct, frozen=True, kw_only=True):
    """What was looked for in the hired fleet, and what was found.

    Of what is found, at most a share of `level` is expected to be chance alone (Benjamini and Hochberg, 1995); where nothing at all is wrong,
    that is the probability that anything is found.
    """

    epoch: int
    position: int
    since: date | None
    """The first operating day that was looked at; all that is kept where it is absent."""
    until: date | None
    level: float
    looks: int
    """How many tests were made."""
    models: tuple[Looked, ...]
    markers: tuple[Looked, ...]
    """Those come first of which something was found, or nearly."""
    note: str


FLEET_READS: tuple[Read, ...] = (
    Read(
        path="/parks/{park}/velocity/retests",
        summary="Which markers to test again first for a field, by risk, and why. From the read tables; the field's referee and the gate decide as before.",
        roles=RETESTERS,
        answer=Retests,
        parameters=(
            Parameter(
                name="field", kind=FieldId, description="The field whose limit they are held against.", required=True
            ),
            AT_LEAST,
        ),
        problems=(*FROM_READ_TABLES, UnknownSubject),
    ),
    Read(
        path="/parks/{park}/velocity/fleet",
        summary="Which hired markers, and which models, creep, spread or stop, from their history across days.",
        roles=KEEPERS,
        answer=FleetReport,
        parameters=(
            Parameter(
                name="since", kind=Day, description="The first operating day to look at; all that is kept when absent."
            ),
            Parameter(name="until", kind=Day, description="The last one; today's when absent."),
            AT_LEAST,
        ),
        problems=FROM_READ_TABLES,
    ),
)
