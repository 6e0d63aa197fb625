"""Keys of a real browser, at times of our own: however slow the machine is, a scanner types quickly and a hand slowly."""

import time
from typing import Any

from playwright.sync_api import Page

SCANNER_MS = 8
"""Between two keys of a scanner that types as a keyboard does."""
HAND_MS = 120
"""Between two keys of a quick hand."""
ENDS = {"Enter": {"key": "Enter", "code": "Enter", "windowsVirtualKeyCode": 13, "text": "\r"}}
ENDS["Tab"] = {"key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9}


class Keys:
    """The keyboard of one page, with a scanner beside it."""

    def __init__(self, page: Page) -> None:
        self._browser = page.context.new_cdp_session(page)
        self._at = 0.0

    def scan(self, code: str, end: str = "Enter") -> None:
        """A scanner reads a code; with an empty `end` it sends nothing behind it."""
        self._press(code, end, SCANNER_MS)

    def type(self, text: str, end: str = "") -> None:
        """A hand types."""
        self._press(text, end, HAND_MS)

    def go_on(self, code: str, end: str = "Enter") -> None:
        """The rest of what a scanner reads, however late the browser is told of it."""
        self._keys(code, end, SCANNER_MS)

    def wait(self, milliseconds: float) -> None:
        """Before the next key."""
        self._at = max(self._at, time.time()) + milliseconds / 1000

    def _press(self, text: str, end: str, gap_ms: float) -> None:
        self.wait(400)
        self._keys(text, end, gap_ms)

    def _keys(self, text: str, end: str, gap_ms: float) -> None:
        for key in [*({"key": one, "text": one} for one in text), *([ENDS[end]] if end else [])]:
            self._at += gap_ms / 1000
            self._send("keyDown", key)
            self._send("keyUp", {name: value for name, value in key.items() if name != "text"})

    def _send(self, kind: str, key: dict[str, Any]) -> None:
        self._browser.send("Input.dispatchKeyEvent", {"type": kind, "timestamp": self._at, **key})
