"""What several test modules share: one report of the demo fleet, open data where it is."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

from rca.records import files
from rca.show.running.report import write_report

# A run must tell of the change under test, not of the dice or of a busy machine: the same examples
# every time, no deadline. HYPOTHESIS_PROFILE=search looks for new ones.
settings.register_profile("steady", deadline=None, derandomize=True, database=None)
settings.register_profile("search", deadline=None)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "steady"))


@pytest.fixture(scope="session")
def demo_folder() -> Path:
    """Folder of the demo fleet."""
    return files.shipped("data_demo") / "fleet"


@pytest.fixture(scope="session")
def demo_report(demo_folder, tmp_path_factory):
    """One finished report of the demo fleet, October 2026."""
    return write_report(demo_folder, month="2026-10", out=tmp_path_factory.mktemp("reports"))


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Folder of open data; skip where RCA_OPEN_DATA names none."""
    place = os.environ.get("RCA_OPEN_DATA")
    if not place or not Path(place).is_dir():
        pytest.skip("no open data here: RCA_OPEN_DATA names no folder")
    return Path(place)
