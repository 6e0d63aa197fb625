"""A process that ends: whoever waits for something new is answered, open streams are closed in order, and nobody is told of a fault."""

import time
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest

from deploy.app import GRACE
from tests.integration.live import serving

pytestmark = pytest.mark.timeout(60)


def test_whoever_waits_is_answered_and_streams_end_at_once(databases, nats_urls):
    with ThreadPoolExecutor(3) as readers:
        with serving(databases.create(), nats_urls) as live:
            where, headers = f"{live.url}/parks/{live.park}", {"Authorization": f"Bearer {live.keys['everything']}"}
            shown = live.get(f"/parks/{live.park}/registration/desk-list").json()
            after = f"{shown['epoch']}:{shown['position']}"
            waits = readers.submit(httpx.get, f"{where}/registration/desk-list?after={after}", headers=headers, timeout=20)
            streams = [readers.submit(_read_out, f"{where}/{path}", headers) for path in ("board/stream", "events/stream")]
            time.sleep(0.5)
            assert not any(one.done() for one in (waits, *streams))
            ending = time.monotonic()
        assert waits.result(timeout=5).status_code == 200
        assert all(stream.result(timeout=5).startswith(b"retry: ") for stream in streams)
        assert time.monotonic() - ending < GRACE


def _read_out(url, headers):
    """The whole of a stream; raises where it is cut off instead of ended."""
    with httpx.stream("GET", url, headers=headers | {"Accept-Encoding": "identity"}, timeout=20) as answer:
        return answer.read()
