"""The rotation in words: plans that were published, with what staging changed in them, and private sessions."""

from contracts.games import RotationPublished, SessionBooked, SessionCancelled
from contracts.rotation import Replanned, Turn
from services.audit.words.scene import Scene, Words, count, together

CHANGES = 4
"""More changes than these are counted, not told."""


def _published(data: RotationPublished, scene: Scene) -> str:
    fields = len({game.field for game in data.games})
    told = f"Plan {data.plan} was published: {count(len(data.games), 'game')} on {count(fields, 'field')}"
    if not data.overruled:
        return f"{told}, as it was proposed."
    changes = [_changed(one, scene) for one in data.overruled[:CHANGES]]
    more = len(data.overruled) - CHANGES
    if more > 0:
        changes.append(count(more, "further change"))
    return f"{told}, changed by whoever published it: {together(changes)}."


def _changed(one: Replanned, scene: Scene) -> str:
    who = one.party.replace(":", " ") + (f" (part {one.part})" if one.part else "")
    return f"{who} was proposed {_turn(one.proposed, scene)} and is {_turn(one.published, scene)}"


def _turn(turn: Turn | None, scene: Scene) -> str:
    return f"on {turn.field} at {scene.clock(turn.start)}" if turn else "in no game"


WORDS: Words = {
    RotationPublished: _published,
    SessionBooked: lambda d, s: (
        f"Field {d.field} was booked for group {d.group} alone from {s.clock(d.start)} to {s.clock(d.end)} (session {d.session})."
    ),
    SessionCancelled: lambda d, _: f"Session {d.session} of group {d.group} on field {d.field} was cancelled.",
}
