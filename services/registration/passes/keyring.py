"""The keyring of a park's passes: the key in use signs, every key verifies the passes of its days."""

from collections.abc import Mapping
from datetime import date, timedelta
from pathlib import Path

from msgspec.structs import replace

from contracts.passes import PassKey, is_signed, read_pass, write_pass
from contracts.words import DayPass
from services.core.reads import fits
from services.registration.passes.outside import PassFile, SigningKey, new_key

FIRST_DAY = date(1970, 1, 1)
"""The first key of a park is good for whatever day came before it: there was no other."""


class Keyring:
    """One park's keys. Every method raises PassKeysUnusable."""

    def __init__(self, folder: Path, park: str) -> None:
        self._park = park
        self._file = PassFile(folder, park)

    def open(self) -> SigningKey:
        """The key in use; the first one is made where there is none."""
        keys = self._file.read()
        if not keys:
            with self._file.alone():
                keys = self._file.read() or (new_key(FIRST_DAY),)
                self._file.write(keys)
        return keys[-1]

    def public(self) -> tuple[PassKey, ...]:
        """What verifies this park's passes, the key in use last."""
        self.open()
        return tuple(key.public(self._park) for key in self._file.read())

    def text(self, day_pass: str, day: date) -> str:
        """The signed text of a pass of that day."""
        return write_pass(self.open().private, self._park, day, day_pass)

    def renew(self, day: date, request: str, *, stolen: bool) -> tuple[PassKey, PassKey]:
        """Make a new key the one in use; returns the one before and the new one. The same request again makes no second.

        The old one verifies the passes through that day; if it was `stolen`, only those of the days before.
        """
        self.open()
        with self._file.alone():
            keys = self._file.read()
            if keys[-1].made_for != request:
                until = day - timedelta(days=1) if stolen else day
                keys = (*keys[:-1], replace(keys[-1], until_day=until), new_key(day, request))
                self._file.write(keys)
        return keys[-2].public(self._park), keys[-1].public(self._park)


def code_shown(rings: Mapping[str, Keyring], park: str, shown: str, day: date) -> str:
    """The bare code of a pass that was shown, scanned or typed. A scanned one is held against the keys of every park that is known here.

    Raises InvalidParameter, or what `read_pass` raises. Whether the pass was replaced is for the record to say.
    """
    if not is_signed(shown):
        return fits(shown, DayPass, "day_pass")
    return read_pass(shown, park, day, [key for ring in rings.values() for key in ring.public()])
