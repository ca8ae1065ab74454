"""What all tests share."""

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PHOTO_DATA = os.environ.get("GRAINPLAN_PHOTO_DATA")


@pytest.fixture(scope="session")
def photo_data() -> Path:
    """The folder of real, licensed pictures; tests that need it are skipped, and listed, where it is not set."""
    if not PHOTO_DATA:
        pytest.skip("GRAINPLAN_PHOTO_DATA is not set: no real pictures to test on")
    return Path(PHOTO_DATA).resolve()


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """On the build machine everything is there, so a test that skips has failed."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter and reporter.stats.get("skipped"):
        reporter.write_line("a test was skipped where none may be", red=True)
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
