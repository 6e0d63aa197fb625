"""A case file: everything about one case in one ZIP that anybody can verify, with nothing about others but opaque ids."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from textwrap import fill
from typing import Any

import msgspec
from msgspec import Struct

from contracts.envelope import Data
from contracts.evidence import AdoptedKey
from contracts.leaf import leaf_hash
from contracts.story import Decided, Story, Told
from services.audit.cases import archive
from services.audit.cases.dossier import Case, Found
from services.audit.cases.redaction import impersonal, others_alone, view, whole, withheld_words
from services.audit.cases.report import verifying
from services.audit.cases.report.building import report_of
from services.audit.cases.report.content import Seal
from services.audit.cases.report.moments import local, plainly, titled
from services.audit.cases.report.page import page
from services.audit.cases.report.pdf import pdf
from services.audit.words.scene import Scene
from services.audit.words.telling import sentence
from services.evidence.checkpoint import Checkpoint
from services.evidence.note import read

STRANGER = Path(__file__).with_name("stranger")
WIDTH = 100
MORE = "What more it says is about others, and withheld."
WITHHELD = "It says more about another player than an opaque id, so it is withheld; its hash is proven."


Views = Mapping[int, Any]


class Evidence(Struct, frozen=True, kw_only=True):
    """What a case file is proven with."""

    checkpoint: str
    """The signed note that covers every event of the case."""
    keys: tuple[str, ...]
    """The park's verifier keys, oldest first; the last one signed the checkpoint."""
    rotations: tuple[AdoptedKey, ...]
    """For each key but the first, the proof that the log adopted it, under a checkpoint that the one before signed."""
    proofs: Mapping[int, Sequence[bytes]]
    """By position, the hashes that lead from a leaf to the checkpoint's root."""
    sign: Callable[[str], str]
    """Makes a text a note signed by the last key."""


class Withheld(Struct, frozen=True, kw_only=True):
    """What may be told of an event whose bytes do not leave the park: the park's own statement.

    Its id is not among that: being random, it keeps anybody from guessing the rest until the proven hash fits.
    """

    withheld: bool
    statement: str
    position: int
    epoch: int
    leaf_sha256: str
    type: str
    occurred_at: Any
    recorded_at: Any
    device: str
    actor: str | None
    data: Any


def case_file(case: Case, stories: Sequence[Story], evidence: Evidence) -> bytes:
    """The ZIP. The same case under the same checkpoint gives the same bytes."""
    views = withheld(case)
    told = tuple(_may_leave(story, case, views) for story in stories)
    return archive.packed(_files(case, told, evidence, views), lambda text: evidence.sign(text).encode())


def withheld(case: Case) -> Views:
    """The events whose bytes stay in the park, by position, each with what may be told of it."""
    views: dict[int, Any] = {}
    for found in case.events:
        event = found.recorded
        told = view(event.type, event.data, case.own)
        if told != whole(event.data):
            views[event.position] = told
    return views


def _files(case: Case, stories: Sequence[Story], evidence: Evidence, views: Views) -> dict[str, bytes]:
    """Every file of the ZIP but the manifest and its signature."""
    seal, head = seal_of(evidence)
    report = report_of(case, stories, seal, head.signed_at)
    made = {
        "README.txt": _readme(case, seal, len(views)).encode(),
        "checkpoint.txt": evidence.checkpoint.encode(),
        "keys.txt": "".join(f"{key}\n" for key in evidence.keys).encode(),
        "proofs.json": _json(_proofs(case, head, evidence.proofs, views)),
        "story.json": _json({"stories": stories}),
        "report.pdf": pdf(report),
        "report.html": page(report),
        "verify.py": (STRANGER / "verify.py").read_bytes(),
    }
    made |= {f"rotations/{number}.json": _json(adopted) for number, adopted in enumerate(evidence.rotations, 1)}
    made |= {f"rules/{rules.version}.json": _json(rules) for rules in case.rules}
    made |= dict(_event(found, views) for found in case.events)
    return made


def seal_of(evidence: Evidence) -> tuple[Seal, Checkpoint]:
    """What stands at the foot of every page, and the checkpoint that it is made of."""
    head = Checkpoint.parse(read(evidence.checkpoint).text)
    seal = Seal(
        origin=head.origin,
        size=head.size,
        signed_at=f"{head.signed_at:%Y-%m-%d %H:%M:%S} UTC",
        digest=sha256(evidence.checkpoint.encode()).hexdigest(),
        root=head.root.hex(),
        key=evidence.keys[-1],
    )
    return seal, head


def _event(found: Found, views: Views) -> tuple[str, bytes]:
    event = found.recorded
    if event.position not in views:
        return f"events/{event.position}.leaf", found.leaf
    told = Withheld(
        withheld=True,
        statement=WITHHELD,
        position=event.position,
        epoch=event.epoch,
        leaf_sha256=leaf_hash(found.leaf).hex(),
        type=event.type,
        occurred_at=event.occurred_at,
        recorded_at=event.recorded_at,
        device=event.device,
        actor=event.actor,
        data=views[event.position],
    )
    return f"events/{event.position}.view.json", _json(told)


def _proofs(case: Case, head: Checkpoint, proofs: Mapping[int, Sequence[bytes]], views: Views) -> Any:
    events = [
        {
            "position": found.recorded.position,
            "index": found.recorded.position - 1,
            "leaf_sha256": leaf_hash(found.leaf).hex(),
            "withheld": found.recorded.position in views,
            "hashes": [one.hex() for one in proofs[found.recorded.position]],
        }
        for found in case.events
    ]
    return {"park": case.park, "subject": case.tag, "size": head.size, "root": head.root.hex(), "events": events}


def _may_leave(story: Story, case: Case, views: Views) -> Story:
    """The story with the events of the case only, each told as far as it may be."""
    found = {one.recorded.position: one for one in case.events}
    scene = Scene(about=story.subject, rules=case.rules[-1])
    events = tuple(_told(one, found[one.position], case, views, scene) for one in story.events if one.position in found)
    return msgspec.structs.replace(story, events=events)


def _told(told: Told, found: Found, case: Case, views: Views, scene: Scene) -> Told:
    """An event as the case may tell it: its sentences say no more than its view does."""
    if told.position not in views:
        return told
    recorded, seen = found.recorded.data, views[told.position]
    told = msgspec.structs.replace(told, data=seen, id="")
    what = plainly(told.type.partition(".")[2]).capitalize()
    if not case.players or others_alone(recorded, case.own):
        sentence = f"{what}, about another player: withheld."
        return msgspec.structs.replace(told, sentence=sentence, rule="", consequence="", decision=None)
    says = _says(withheld_words(recorded, seen))
    return msgspec.structs.replace(
        told,
        sentence=_retold(what, recorded, seen, scene, says) if says(told.sentence) else told.sentence,
        rule="" if says(told.rule) else told.rule,
        consequence="" if says(told.consequence) else told.consequence,
        decision=told.decision and _impersonal(told.decision, says),
    )


def _impersonal(decision: Decided, says: Callable[[str], bool]) -> Decided:
    reasons = tuple(one for one in map(impersonal, decision.reasons) if not says(one.sentence))
    return msgspec.structs.replace(
        decision, sentence="" if says(decision.sentence) else decision.sentence, reasons=reasons
    )


def _says(words: Iterable[str]) -> Callable[[str], bool]:
    """Whether a sentence says one of these words."""
    any_of = "|".join(map(re.escape, words)) or "(?!)"
    return lambda sentence: re.search(rf"(?<![\w-])(?:{any_of})(?![\w-])", sentence) is not None


def _retold(what: str, recorded: Data, seen: Any, scene: Scene, says: Callable[[str], bool]) -> str:
    """The sentence over what may be told: where lists got shorter, that of the shorter lists; else only what kind of event it is."""
    try:
        retold = sentence(msgspec.convert(seen, type(recorded)), scene) if seen.keys() == whole(recorded).keys() else ""
    except msgspec.ValidationError:
        retold = ""
    told = retold if retold and not says(retold) else f"{what}, told in part."
    return f"{told} {MORE}"


def _readme(case: Case, seal: Seal, held: int) -> str:
    about = f"Case file about {titled(case.kind, case.subject)}, {case.park} park"
    first, last = case.events[0].recorded, case.events[-1].recorded
    zone = case.rules[-1].time_zone
    parts = [
        f"{about}\n{'=' * len(about)}",
        (
            f"{len(case.events)} events, recorded from {local(first.recorded_at, zone)} to {local(last.recorded_at, zone)}.\n"
            f"{len(case.events) - held} are here byte for byte; {held} are withheld, and here as a proven hash with a shortened view.\n"
            f"Proven under checkpoint {seal.origin} of {seal.size} events, signed {seal.signed_at}."
        ),
        "READ FIRST\n" + _bullets(verifying.CAUTIONS),
        "WHAT IS IN IT\n" + "\n".join(f"{name:<22}{words}" for name, words in verifying.CONTENTS),
        "WHAT IT PROVES\n" + _bullets(verifying.PROVES),
        "WHAT IT DOES NOT PROVE\n" + _bullets(verifying.PROVES_NOT),
        "HOW TO CHECK IT\n" + "\n".join(verifying.steps()),
        "THE PARK'S KEY\n" + seal.key,
        "FORMATS\n" + verifying.FORMATS,
    ]
    return "\n\n".join(parts) + "\n"


def _bullets(sentences: Sequence[str]) -> str:
    return "\n".join(fill(one, WIDTH, initial_indent="* ", subsequent_indent="  ") for one in sentences)


def _json(value: Any) -> bytes:
    return msgspec.json.format(msgspec.json.encode(value), indent=2) + b"\n"
