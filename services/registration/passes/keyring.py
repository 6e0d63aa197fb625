"""The keyring of a park's passes: the key in use signs, every key verifies the passes of its days."""

from collections.abc import Mapping
from datetime import date
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
        if not self._in_use():
            with self._file.alone():
                keys = self._file.read()
                if not self._in_use():
                    self._file.write((*keys, new_key(FIRST_DAY)))
        return self._in_use()[-1]

    def public(self) -> tuple[PassKey, ...]:
        """What verifies this park's passes, the key in use last."""
        self.open()
        return tuple(key.public(self._park) for key in self._in_use())

    def text(self, day_pass: str, day: date) -> str:
        """The signed text of a pass of that day."""
        return write_pass(self.open().private, self._park, day, day_pass)

    def prepare(self, request: str) -> PassKey:
        """A key that is not in use yet; the same request again finds the one that was made for it."""
        self.open()
        with self._file.alone():
            keys = self._file.read()
            made = next((key for key in keys if key.made_for == request), None)
            if made is None:
                made = new_key(made_for=request)
                self._file.write((*keys, made))
        return made.public(self._park)

    def take(self, key: str, from_day: date, until_day: date) -> None:
        """Use the key of that id from a day on; every one before it verifies passes up to another day. Again it changes nothing."""
        with self._file.alone():
            keys = self._file.read()
            taken = next(one for one in keys if one.public(self._park).id == key)
            if taken.from_day is None:
                before = [_ended(one, until_day) for one in keys if one is not taken]
                self._file.write((*before, replace(taken, from_day=from_day)))

    def _in_use(self) -> tuple[SigningKey, ...]:
        return tuple(key for key in self._file.read() if key.from_day is not None)


def _ended(key: SigningKey, until_day: date) -> SigningKey:
    return key if key.from_day is None or key.until_day is not None else replace(key, until_day=until_day)


def code_shown(rings: Mapping[str, Keyring], park: str, shown: str, day: date) -> str:
    """The bare code of a pass that was shown, scanned or typed. A scanned one is held against the keys of every park that is known here.

    Raises InvalidParameter, or what `read_pass` raises. Whether the pass was replaced is for the record to say.
    """
    if not is_signed(shown):
        return fits(shown, DayPass, "day_pass")
    return read_pass(shown, park, day, [key for ring in rings.values() for key in ring.public()])
