"""What was kept in the vault, and what was erased, in words. What it says stays sealed there."""

from contracts.vault import (
    DetailKept,
    ErasureReapplied,
    ErasureRefused,
    LegalHoldLifted,
    LegalHoldPlaced,
    PersonErased,
    ReportMade,
)
from services.audit.words.scene import Scene, Words, because, listed, spoken


def _kept(data: DetailKept, _: Scene) -> str:
    named = (("incident", data.about.incident), ("caution", data.about.caution), ("player", data.about.player))
    about = "".join(f", about {kind} {name}" for kind, name in named if name)
    return f"A {spoken(data.kind)} of person {data.person} was sealed in the vault ({data.entry}){about}."


def _lifted(data: LegalHoldLifted, _: Scene) -> str:
    named = (("Legal hold", data.hold), ("The legal hold of incident", data.incident))
    which = next((f"{kind} {name}" for kind, name in named if name), "A legal hold")
    return f"{which} about {listed(data.persons, 'person')} was lifted."


WORDS: Words = {
    DetailKept: _kept,
    LegalHoldPlaced: lambda d, _: (
        f"Legal hold {d.hold} was placed on {listed(d.persons, 'person')}: {spoken(d.cause)}."
    ),
    LegalHoldLifted: _lifted,
    PersonErased: lambda d, _: f"What the vault kept about person {d.person} was erased for good.",
    ErasureRefused: lambda d, _: because(f"What the vault keeps about person {d.person} was not erased", d.reasons),
    ErasureReapplied: lambda d, s: (
        f"The erasure of person {d.person} on {d.erased_at:%Y-%m-%d} at {s.clock(d.erased_at)} was lost with a restore; it holds again."
    ),
    ReportMade: lambda d, _: f"Somebody was shown all that is kept about person {d.person}.",
}
