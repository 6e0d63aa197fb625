"""A process that ends: whoever waits for something new is answered, open streams are closed in order, and nobody is told of a fault."""

import time
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest

from deploy.app import GRACE
from tests.integration.board_day import BoardDay
from tests.integration.live import serving

pytestmark = pytest.mark.timeout(60)
FOLLOWED = ("registration/desk-list?", "games/gate?field=birch&")


def test_whoever_waits_is_answered_and_streams_end_at_once(databases, nats_urls):
    with ThreadPoolExecutor(4) as readers:
        with serving(databases.create(), nats_urls) as live:
            BoardDay(live).open("birch")
            where, headers = f"{live.url}/parks/{live.park}/", {"Authorization": f"Bearer {live.keys['everything']}"}
            shown = [live.get(f"/parks/{live.park}/{path}").json() for path in FOLLOWED]
            after = [
                f"{where}{path}after={one['epoch']}:{one['position']}"
                for path, one in zip(FOLLOWED, shown, strict=True)
            ]
            waits = [readers.submit(httpx.get, url, headers=headers, timeout=20) for url in after]
            streams = [readers.submit(_read_out, f"{where}{path}/stream", headers) for path in ("board", "events")]
            time.sleep(1)
            assert not any(one.done() for one in (*waits, *streams))
            ending = time.monotonic()
        assert [wait.result(timeout=5).status_code for wait in waits] == [200, 200]
        assert all(stream.result(timeout=5).startswith(b"retry: ") for stream in streams)
        assert time.monotonic() - ending < GRACE


def _read_out(url, headers):
    """The whole of a stream; raises where it is cut off instead of ended."""
    with httpx.stream("GET", url, headers=headers | {"Accept-Encoding": "identity"}, timeout=20) as answer:
        return answer.read()
