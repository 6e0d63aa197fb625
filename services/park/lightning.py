"""Lightning: when thunder stops play, and when a person may resume it at the earliest.

Thunder that can be heard comes from lightning that can strike here. Thirty seconds from flash to bang are six miles, at five seconds a
mile; play stays stopped for thirty minutes after the last flash or thunder, and each new one begins the wait anew: guideline of the
US National Weather Service and the NCAA, as secondary texts state it. Nothing resumes by itself. Whoever is in doubt stops play and
takes shelter in a building or a car; local law and the insurer's rules come first.
"""

from datetime import datetime, timedelta
from typing import Final

from contracts.rules import Rules

SECONDS_PER_MILE: Final = 5.0


def miles(flash_to_bang_s: float) -> float:
    """About how far away a flash was, by the seconds to its thunder, in statute miles."""
    return flash_to_bang_s / SECONDS_PER_MILE


def stops_play(flash_to_bang_s: float | None, rules: Rules) -> bool:
    """Whether thunder stops play by the park's rules. Where nobody timed it, it does."""
    law = rules.weather.lightning
    return law.stop_at == "first_thunder" or flash_to_bang_s is None or flash_to_bang_s <= law.flash_to_bang_s


def resume_at(last: datetime, rules: Rules) -> datetime:
    """When play may be resumed at the earliest after the last flash or thunder, near or far."""
    return last + timedelta(minutes=rules.weather.lightning.wait_minutes)
