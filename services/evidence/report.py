"""The report of a check of one park's whole record: what was found, what it rests on, and what could not be checked."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime

from msgspec import Struct

from services.core.pool import Pool
from services.evidence.check import Check, HeadRow
from services.evidence.finding import Finding, Kind, on
from services.evidence.note import NoteError, VerifierKey
from services.evidence.outside import Outside, OutsideUnusable
from services.evidence.rounds import LOCK as SIGNING
from services.evidence.rows import Rows, batches
from services.evidence.witness import Witness

Tell = Callable[[int, int], None]
"""Told now and then how far the check is, and where it will end."""

_TRUNCATED = (
    "What to do: if the database was brought back from a backup, begin a new epoch of the log: fieldledger restore tells what was lost and changes "
    "nothing before you say --yes. If it was not, somebody took events out: keep this database as it is, bring back a backup that holds "
    "them in its place, and then restore."
)


class Report(Struct, frozen=True, kw_only=True):
    """`events` were checked, the whole log as of the start; of each kind of finding only the first are listed, by position."""

    park: str
    epoch: int
    events: int
    findings: tuple[Finding, ...]
    found: int
    checkpoints: int
    """Checkpoints that the log as it stands bears out."""
    covered: int
    """Events under the largest of them, signed at `signed_at`."""
    signed_at: datetime | None
    superseded: int
    """Checkpoints over events that a restore lost."""
    begun: tuple[int, ...]
    """Where the log says that an epoch began after a restore."""
    opaque: int
    """Events whose data only a newer version can read."""

    @property
    def sentences(self) -> Iterator[str]:
        """The report in words."""
        yield f"{self.park}: {self.found or 'no'} finding{'s' * (self.found != 1)} in {self.events:,} events."
        yield from (one.sentence for one in self.findings)
        if self.found > len(self.findings):
            yield f"{self.found - len(self.findings):,} findings more are not listed."
        if any(one.kind == "truncated" for one in self.findings):
            yield _TRUNCATED
        if self.signed_at is None:
            yield "No checkpoint bears this log out, so bytes that were changed cannot be told. Sign one: fieldledger audit checkpoint --sign."
        else:
            yield f"The first {self.covered:,} events were signed on {on(self.signed_at)}; {self.checkpoints:,} checkpoints agree."
            if self.covered < self.events:
                yield (
                    f"The last {self.events - self.covered:,} events lie under no checkpoint yet: of these only columns, "
                    "index and requests were held against the recorded bytes."
                )
        if self.superseded:
            yield f"{self.superseded:,} checkpoints cover events that a restore lost: nothing is left to hold them against."
        if self.begun:
            where = ", ".join(f"{one:,}" for one in self.begun)
            yield f"After a restore an epoch begins at position {where}: make sure that it was one of your own people who did that."
        if self.opaque:
            yield f"{self.opaque:,} events only a newer version can read: whether a story begins anew there was not checked."
        yield "The bodies of requests are not kept, only their digests: these are held against nothing."


class _Findings:
    """Counts findings and keeps the first of each kind: many small ones do not hide a grave one."""

    def __init__(self, limit: int) -> None:
        self.kept: list[Finding] = []
        self.number = 0
        self._limit = limit
        self._of = Counter[Kind]()

    def add(self, findings: Iterable[Finding]) -> None:
        for one in findings:
            self.number += 1
            self._of[one.kind] += 1
            if self._of[one.kind] <= self._limit:
                self.kept.append(one)


async def check(park: str, pool: Pool, outside: Outside, tell: Tell, limit: int = 100) -> Report:
    """Check a park's record up to the log's end as it is now, while the park runs or not. At most `limit` findings of a kind are listed.

    Raises LookupError where neither the database nor the folder outside knows of the park.
    """
    findings = _Findings(limit)
    async with pool.connection() as connection:
        rows = Rows(connection, park)
        async with connection.transaction():
            # Nobody is just keeping a checkpoint in one place and not yet in the other, or has a key adopted and not yet signed with it.
            await connection.execute(SIGNING, park)
            witness = Witness(park, _keys(outside, findings))
            inside, notes = await rows.checkpoints(), _notes(outside, findings)
            head = await rows.head()
        findings.add(witness.read(inside, notes))
        if head is None:
            head = await rows.end()
            if head is None and not (inside or notes):
                raise LookupError(f"There is no park {park} in this database.")
            head = head or HeadRow(1, 0, datetime.min.replace(tzinfo=UTC))
            findings.add([_headless(park, head.position)])
        log = Check(park, witness.signed)
        signed, checked = max((one.size for one in witness.signed), default=0), 0
        for first, last in batches(head.position):
            batch = await rows.batch(first, last)
            if not batch.events and first > signed:
                findings.add([_empty(first, head.position)])
                break
            findings.add(log.take(batch))
            checked = last
            tell(last, head.position)
        findings.add(log.end(head, await rows.astray(limit)))
        findings.add(witness.keys(log.adopted, log.roots.superseded, _keys(outside, findings)))
    agreed = log.roots.agreed
    return Report(
        park=park,
        epoch=head.epoch,
        events=checked,
        findings=tuple(sorted(findings.kept, key=lambda one: one.position)),
        found=findings.number,
        checkpoints=log.roots.agreeing,
        covered=agreed.size if agreed else 0,
        signed_at=agreed.signed_at if agreed else None,
        superseded=len(log.roots.superseded),
        opaque=log.opaque,
        begun=tuple(log.begun),
    )


def _headless(park: str, end: int) -> Finding:
    what = f"the database does not say where the log of {park} ends: its row was taken out"
    return Finding("head", end, f"Position {end}: {what}. What is there was checked up to here.")


def _empty(first: int, end: int) -> Finding:
    what = f"there are no events here, though the log's head says that it ends at {end}: they were taken out, or the head was changed"
    return Finding("head", first, f"Positions {first} to {end}: {what}. Nothing was checked from here on.", last=end)


def _keys(outside: Outside, findings: _Findings) -> list[VerifierKey]:
    """The keys that are known outside the database."""
    try:
        return [VerifierKey.parse(text) for text in outside.public_keys()]
    except (OutsideUnusable, NoteError) as error:
        findings.add([Finding("key", 0, f"The list of keys outside the database cannot be believed: {error}")])
        return []


def _notes(outside: Outside, findings: _Findings) -> tuple[str, ...] | None:
    try:
        return outside.notes()
    except OutsideUnusable as error:
        findings.add([Finding("checkpoint", 0, f"The checkpoints outside the database cannot be read: {error}")])
        return None
