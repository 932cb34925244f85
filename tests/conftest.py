"""What several test modules share: one report of the demo fleet, open data where it is."""

import os
from pathlib import Path

import pytest

from rca.records import files
from rca.show.report import write_report


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
