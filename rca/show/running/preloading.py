"""A process that loads everything a kernel needs, while others still get ready; kernels fork of it.

Works where processes can be forked from a server and can wait for the end of another (Linux);
elsewhere ordinary kernels start.
"""

import multiprocessing
import os
from multiprocessing import forkserver

PRELOADED = ("rca.show.workbook", "ipykernel.ipkernel", "IPython.core.interactiveshell")


def can_preload() -> bool:
    """Whether this system can safely fork kernels from a loaded process."""
    return hasattr(os, "pidfd_open") and "forkserver" in multiprocessing.get_all_start_methods()


def begin_preloading() -> None:
    """Start the loading process and come back at once; it ends with this one."""
    if not can_preload():
        return
    multiprocessing.get_context("forkserver").set_forkserver_preload(list(PRELOADED))
    forkserver.ensure_running()


def forking_manager() -> type | None:
    """Return the kernel manager that forks of the loading process; None where that cannot be."""
    if not can_preload():
        return None
    from rca.show.running.kernels import PreloadedKernelManager

    return PreloadedKernelManager
