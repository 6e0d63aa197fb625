"""Migrations against a real database."""

import shutil

import psycopg
import pytest

from deploy import migrate as runner
from deploy.migrate import MIGRATIONS, MigrationRefusedError, migrate

pytestmark = pytest.mark.timeout(60)


@pytest.fixture
def files(tmp_path, monkeypatch):
    """A copy of the migrations that a test may change."""
    folder = tmp_path / "migrations"
    shutil.copytree(MIGRATIONS, folder)
    monkeypatch.setattr(runner, "MIGRATIONS", folder)
    return folder


@pytest.fixture
def applied(database):
    """The names of the migrations that the database says it has."""

    def names():
        with psycopg.connect(database.admin_url) as connection:
            return [name for (name,) in connection.execute("SELECT name FROM public.migration ORDER BY name")]

    return names


def test_every_file_is_applied_once(database, applied):
    assert applied() == sorted(path.name for path in MIGRATIONS.glob("*.sql"))
    migrate(database.admin_url, "tests-only")
    assert applied() == sorted(path.name for path in MIGRATIONS.glob("*.sql"))


def test_a_new_file_is_applied_after_the_others(database, applied, files):
    (files / "9999_more.sql").write_text("CREATE TABLE log.more (one int);")
    migrate(database.admin_url, "tests-only")
    assert applied()[-1] == "9999_more.sql"


def test_a_file_that_fails_leaves_nothing_behind(database, applied, files):
    (files / "9999_broken.sql").write_text("CREATE TABLE log.half (one int); SELECT 1 / 0;")
    with pytest.raises(Exception, match="division by zero"):
        migrate(database.admin_url, "tests-only")
    assert "9999_broken.sql" not in applied()
    with psycopg.connect(database.admin_url) as connection:
        assert connection.execute("SELECT to_regclass('log.half')").fetchone() == (None,)


@pytest.mark.parametrize("change", ["edited", "gone"])
def test_a_database_migrated_by_other_files_is_refused(database, files, change):
    first = files / "0001_schema.sql"
    if change == "edited":
        first.write_text(first.read_text() + "-- a word more\n")
    else:
        first.unlink()
    with pytest.raises(MigrationRefusedError, match=r"0001_schema\.sql"):
        migrate(database.admin_url, "tests-only")


def test_the_url_given_back_reaches_the_database_as_the_service_role(database):
    awkward = "p@ss/w:rd %?#é"
    try:
        url = migrate(database.admin_url, awkward)
        with psycopg.connect(url) as connection:
            assert connection.execute("SELECT current_user").fetchone() == ("fieldledger_service",)
    finally:
        migrate(database.admin_url, "tests-only")
