"""Reports made in this very process, which spares a kernel each."""

import pytest

from rca.show.running import export, report
from tests.in_process import run_in_process


def spare_the_kernel(patch):
    """Let `write_report` run its workbook without a kernel, and leave the drawing code out."""
    patch.setattr(report, "run_workbook", run_in_process)
    patch.setattr(export, "_plotly_script", lambda: "/* drawn elsewhere */")


@pytest.fixture
def in_process(monkeypatch):
    """Reports of this test need no kernel."""
    spare_the_kernel(monkeypatch)


@pytest.fixture(scope="module")
def module_in_process():
    """Reports of this module need no kernel."""
    with pytest.MonkeyPatch.context() as patch:
        spare_the_kernel(patch)
        yield
