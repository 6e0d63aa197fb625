"""A private session to which nobody comes, or not in time, takes no more of its field than it was booked for."""

from math import inf

import pytest

from services.games.rotation.model import Ground, Party, Session
from services.games.rotation.planner import plan
from tests.unit.rotation_park import RULES


@pytest.mark.parametrize("ready", [inf, 180.0])
def test_a_field_goes_on_after_a_private_session_to_which_nobody_came(ready):
    away = Party("group:away", {"f0": 6}, ready)
    others = [Party(f"group:g{number}", {"f0": 6}) for number in range(4)]
    booked = Ground("f0", 20, 0.0, 15.0, (Session("group:away", 40.0, 80.0),))
    starts = [slot.start for slot in plan([booked], [away, *others], (), RULES).slots]
    assert starts == [0.0, 80.0, 102.0]
