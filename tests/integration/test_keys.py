"""The keys that a first run leaves behind."""

import pytest

from deploy.serve import FIRST_DEVICE, enrol
from services.core.auth import Devices
from services.core.clock import SystemClock
from services.core.pool import Pool

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend():
    return "asyncio"


async def test_a_run_broken_off_right_after_enrolling_goes_on_with_the_same_keys(database, tmp_path):
    pool = Pool(database.url)
    try:
        devices = Devices(pool, SystemClock())
        first = await enrol(devices, "blank", FIRST_DEVICE, tmp_path)
        assert await enrol(devices, "blank", FIRST_DEVICE, tmp_path) == first
        assert (await devices.identify("blank", f"Bearer {first['office']}")).roles == FIRST_DEVICE["office"]
    finally:
        await pool.close()
    assert (tmp_path / "keys-blank.json").stat().st_mode & 0o777 == 0o600
