"""The command line: what is read for a command is what it needs, and every command is told of as its own words tell it."""

import inspect
import json
import subprocess
import sys
from pathlib import Path

import pytest

from deploy.commands.audit import AUDIT
from deploy.main import app

ROOT = Path(__file__).resolve().parents[2]
HEAVY = {"scipy", "numpy", "litestar", "sqlalchemy", "asyncpg", "uvicorn", "uvloop", "nats", "typst", "httpx"}
READ = r"""
import json, sys
from deploy.main import app
try:
    app(sys.argv[1:])
except SystemExit as end:
    sys.stdout.write("\n" + json.dumps([end.code, sorted({name.partition(".")[0] for name in sys.modules})]))
"""


def after(*words):
    """What the command line ends with, and which packages it has read in by then."""
    ran = subprocess.run([sys.executable, "-c", READ, *words], cwd=ROOT, capture_output=True, text=True, check=True)
    return json.loads(ran.stdout.splitlines()[-1])


def test_a_case_file_is_examined_without_database_web_or_statistics(tmp_path):
    (tmp_path / "case.zip").write_bytes(b"no case file")
    said, packages = after("verify", str(tmp_path / "case.zip"))
    assert "is NOT what the park signed" in said
    assert "cryptography" in packages, "signatures are verified"
    assert HEAVY.isdisjoint(packages)


def test_the_commands_are_listed_without_reading_them_in():
    for words in (["--help"], ["audit", "--help"]):
        end, packages = after(*words)
        assert end == 0
        assert HEAVY.isdisjoint(packages)


@pytest.mark.parametrize("group", [app, AUDIT], ids=lambda group: group.name[0])
def test_a_command_is_listed_in_the_words_that_describe_it(group):
    commands = {name: group[name] for name in group if not name.startswith("-")}
    described = {
        name: inspect.getdoc(one.default_command).splitlines()[0]
        for name, one in commands.items()
        if one.default_command
    }
    assert len(described) >= 5
    assert {name: commands[name].help for name in described} == described
