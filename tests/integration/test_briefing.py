"""The briefing as a screen at the gate reads it, without a key."""

from uuid import uuid4

import msgspec

from contracts.park import Briefing
from services.park.model import CAUTIONS


def test_anybody_reads_the_briefing_of_the_rules_that_were_adopted_last(live):
    version = f"rules-{uuid4()}"
    rules = {"version": version, "briefing": {"version": 4, "urgent_version": 3, "text": "Masks on, barrels covered."}}
    assert live.post("park/adopt-rules", {"rules": rules}).status_code == 201
    response = live.http.get(f"/parks/{live.park}/briefing")
    assert response.status_code == 200
    assert msgspec.json.decode(response.content, type=Briefing) == Briefing(
        park=live.park,
        rules=version,
        version=4,
        urgent_version=3,
        text="Masks on, barrels covered.",
        cautions=CAUTIONS,
    )
