"""How long after it happened something was told, and whose word the time is, as far as that is known."""

from datetime import timedelta
from typing import Any, Final

from contracts.envelope import Recorded
from services.audit.words.scene import Scene, lasting

UNREMARKABLE: Final = timedelta(minutes=1)
"""Less than this between happening and recording is not worth a word."""
_CLOCKS: Final = {
    "corrected": "by that device's own time, corrected when it next reached the server",
    "claimed": "by that device's own time, whose error is not known",
}


def lateness(event: Recorded[Any], scene: Scene) -> str:
    """Empty where an event was recorded as it happened."""
    if event.clock == "impossible":
        claimed = f"{event.claimed_at:%Y-%m-%d %H:%M:%S %z}" if event.claimed_at else "a time"
        return f"Device {event.device} claimed {claimed}, which cannot be; what stands here is when it was received."
    late = event.recorded_at - event.occurred_at
    if late < UNREMARKABLE:
        return ""
    word = _CLOCKS.get(event.clock, "by the server's time")
    return f"Told {lasting(late)} after it happened, at {scene.clock(event.recorded_at)}, by device {event.device}; {word}."
