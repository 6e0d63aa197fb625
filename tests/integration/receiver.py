"""A receiver of webhooks on this machine: a plain HTTP server whose answers a test decides, and that keeps what it was sent."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Lock, Thread
from typing import Any

import msgspec


@dataclass
class Receiver:
    """`rule` is asked for each letter which status it gets; None hangs up without an answer."""

    rule: Callable[[int, dict[str, str], bytes], int | None] = lambda _number, _headers, _body: 204
    letters: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    taken: list[tuple[dict[str, str], bytes]] = field(default_factory=list)
    at_once: int = 0
    most_at_once: int = 0
    url: str = ""
    lock: Lock = field(default_factory=Lock)

    def ids(self) -> list[str]:
        return [headers["webhook-id"] for headers, _ in self.taken]

    def positions(self) -> list[int]:
        """Of every event that was taken, letters that came twice left out."""
        once = {headers["webhook-id"]: body for headers, body in self.taken}
        return [event["position"] for body in once.values() for event in msgspec.json.decode(body)]

    def until(self, enough: Callable[[], bool], seconds: float = 30.0) -> None:
        deadline = time.monotonic() + seconds
        while not enough():
            assert time.monotonic() < deadline, (len(self.letters), self.ids())
            time.sleep(0.02)


@contextmanager
def receiving(port: int = 0) -> Iterator[Receiver]:
    """A receiver at work for the block."""
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            letter = ({name.lower(): value for name, value in self.headers.items()}, body)
            with receiver.lock:
                receiver.letters.append(letter)
                receiver.at_once += 1
                receiver.most_at_once = max(receiver.most_at_once, receiver.at_once)
                number = len(receiver.letters)
            try:
                status = receiver.rule(number, *letter)
                if status is None:
                    self.close_connection = True
                    return
                if 200 <= status < 300:
                    receiver.taken.append(letter)
                self.send_response(status)
                if 300 <= status < 400:
                    self.send_header("Location", f"{receiver.url}/elsewhere")
                self.send_header("Content-Length", "0")
                self.end_headers()
            finally:
                with receiver.lock:
                    receiver.at_once -= 1

        def log_message(self, *_: Any) -> None:
            """Nobody reads it."""

    server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
    server.daemon_threads = True
    receiver.url = f"http://127.0.0.1:{server.server_address[1]}/park"
    thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    try:
        yield receiver
    finally:
        receiver.rule = lambda _number, _headers, _body: None  # connections that are open end too
        server.shutdown()
        server.server_close()
        thread.join()
