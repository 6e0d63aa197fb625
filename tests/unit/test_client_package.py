"""The client stands by itself: it needs the words on the wire and a few libraries, they do not need it, and it checks passes without the park."""

import ast
import sys
from datetime import date, timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

import contracts.client
from contracts.client import passes
from contracts.passes import PassKeys, pass_key, write_pass
from contracts.problems import PassExpired, PassKeyUnknown, PassNotGenuine

HERE = Path(contracts.client.__file__).parent
SATURDAY = date(2026, 5, 9)


def imported(path):
    """The modules that a file imports, by their full names."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield f"{node.module}.{node.names[0].name}"


def test_it_needs_the_contracts_and_three_libraries():
    needed = {name.partition(".")[0] for path in HERE.glob("*.py") for name in imported(path)}
    assert needed - sys.stdlib_module_names == {"contracts", "httpx", "msgspec", "stamina"}


def test_the_words_on_the_wire_know_nothing_of_it():
    assert [
        path.name for path in HERE.parent.glob("*.py") if any("contracts.client" in one for one in imported(path))
    ] == []


@pytest.fixture
def park_key():
    return Ed25519PrivateKey.from_private_bytes(bytes(range(32)))


@pytest.fixture
def kept(park_key, tmp_path):
    """The park's pass keys, as a device kept them on its disk before the network went away."""
    known = PassKeys(park="larchmoor", day=SATURDAY, keys=(pass_key(park_key, "larchmoor", SATURDAY),))
    passes.keep(tmp_path / "passes", known)
    return passes.kept(tmp_path / "passes")


def test_a_pass_is_read_with_what_was_kept_on_the_device(park_key, kept):
    assert passes.verify(write_pass(park_key, "larchmoor", SATURDAY, "LX-991"), kept, SATURDAY) == "LX-991"


def test_a_tampered_a_foreign_and_yesterdays_pass_are_refused(park_key, kept):
    text = write_pass(park_key, "larchmoor", SATURDAY, "LX-991")
    with pytest.raises(PassNotGenuine):
        passes.verify(text[:-3] + ("A" if text[-3] != "A" else "B") + text[-2:], kept, SATURDAY)
    foreign = Ed25519PrivateKey.from_private_bytes(bytes(32))
    with pytest.raises(PassKeyUnknown):
        passes.verify(write_pass(foreign, "larchmoor", SATURDAY, "LX-991"), kept, SATURDAY)
    with pytest.raises(PassExpired):
        passes.verify(text, kept, SATURDAY + timedelta(days=1))
