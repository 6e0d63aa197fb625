"""An event of any type as one sentence that a customer understands."""

from typing import Final

from contracts.envelope import Data, Unknown
from services.audit.words import (
    devices,
    discipline,
    duty,
    equipment,
    evidence,
    games,
    incidents,
    park,
    reading,
    registration,
    rotation,
    vault,
    velocity,
)
from services.audit.words.scene import Scene, Words

WORDS: Final[Words] = {
    **registration.WORDS,
    **equipment.WORDS,
    **velocity.WORDS,
    **discipline.WORDS,
    **games.WORDS,
    **rotation.WORDS,
    **duty.WORDS,
    **incidents.WORDS,
    **park.WORDS,
    **vault.WORDS,
    **evidence.WORDS,
    **reading.WORDS,
    **devices.WORDS,
    Unknown: lambda d, _: (
        f"Something was recorded that this software cannot read ({d.type}, version {d.version}). "
        "Whoever it concerns is not cleared until it can."
    ),
}


def sentence(data: Data, scene: Scene) -> str:
    """What happened, in words, as far as it concerns the story's subject."""
    return WORDS[type(data)](data, scene)
