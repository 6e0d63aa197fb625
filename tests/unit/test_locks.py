import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
SERVING = PROJECT["dependencies"]
LOCKS = {
    "deploy/requirements.txt": SERVING,
    "tests/requirements.txt": SERVING + PROJECT["optional-dependencies"]["tests"],
}


def pins(lock):
    """The version of each package in a lock, as pip will install it."""
    lines = re.findall(r"^(\S+)==([^\s;]+)", (ROOT / lock).read_text(), flags=re.MULTILINE)
    return {canonicalize_name(name.split("[")[0]): version for name, version in lines}


@pytest.mark.parametrize("lock", LOCKS)
def test_a_lock_holds_all_that_the_project_asks_for_in_a_version_it_accepts(lock):
    locked = pins(lock)
    asked = [Requirement(line) for line in LOCKS[lock]]
    missing = [str(one) for one in asked if canonicalize_name(one.name) not in locked]
    wrong = [str(one) for one in asked if not one.specifier.contains(locked.get(canonicalize_name(one.name), "0"))]
    assert (missing, wrong) == ([], [])


@pytest.mark.parametrize("lock", LOCKS)
def test_every_locked_package_has_a_hash_and_no_lock_names_a_host(lock):
    blocks = re.split(r"^(?=\S+==)", (ROOT / lock).read_text(), flags=re.MULTILINE)[1:]
    assert [block.split()[0] for block in blocks if "--hash=sha256:" not in block] == []
    assert "://" not in "".join(blocks)


def test_tests_run_on_the_very_versions_that_serve():
    tested = pins("tests/requirements.txt")
    assert {name: tested.get(name) for name in pins("deploy/requirements.txt")} == pins("deploy/requirements.txt")


def test_what_sqlalchemy_needs_to_be_awaited_is_locked_although_its_plain_name_does_not_ask_for_it():
    assert "greenlet" in pins("deploy/requirements.txt")
