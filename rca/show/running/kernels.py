"""Kernels that start at once: forked from the process that `preloading` has begun."""

import contextlib
import multiprocessing
import os
import select
import signal
import threading
from typing import Any

from jupyter_client.manager import AsyncKernelManager
from jupyter_client.provisioning import LocalProvisioner


def _be_a_kernel(connection_file: str, folder: str, variables: dict[str, str], parent: int) -> None:
    """Become an IPython kernel; runs in the forked process, and ends with the process `parent`."""
    from ipykernel.kernelapp import IPKernelApp

    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()

    os.environ.clear()
    os.environ.update(variables)
    os.chdir(folder)
    os.setpgrp()
    nowhere = os.open(os.devnull, os.O_RDWR)  # what fails stands in the notebook
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    app = IPKernelApp.instance(parent_handle=parent)
    app.initialize(["-f", connection_file, "--HistoryManager.hist_file=:memory:"])
    app.start()


def _end_with(process: int) -> None:
    """Wait until a process is gone, killed or not, and end this one too.

    ipykernel watches its own parent, which is the loading process here; that one in turn stays
    as long as a kernel of its lives, so that both would outlive a runner that was killed.
    """
    with contextlib.suppress(ProcessLookupError):  # gone already
        select.select([os.pidfd_open(process)], [], [])
    os._exit(1)


class _Forked:
    """A forked process with the few words of `subprocess.Popen` that a kernel manager uses."""

    def __init__(self, process: Any) -> None:
        self.process, self.pid = process, process.pid
        self.stdin = self.stdout = self.stderr = None

    def poll(self) -> int | None:
        return None if self.process.is_alive() else (self.process.exitcode or 0)

    def wait(self, timeout: float | None = None) -> int | None:
        self.process.join(timeout)
        return self.poll()

    def send_signal(self, number: int) -> None:
        if self.process.is_alive():
            os.kill(self.pid, number)

    def terminate(self) -> None:
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)


class _ForkProvisioner(LocalProvisioner):
    """Starts the kernel by forking the loaded process."""

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
        context = multiprocessing.get_context("forkserver")
        variables = kwargs.get("env") or dict(os.environ)
        folder = kwargs.get("cwd") or os.getcwd()
        assert self.parent is not None
        file = self.parent.connection_file
        process = context.Process(
            target=_be_a_kernel, args=(file, str(folder), dict(variables), os.getpid())
        )
        process.start()
        self.process = _Forked(process)  # type: ignore[assignment]
        self.pid, self.pgid = process.pid, None
        return self.connection_info


class PreloadedKernelManager(AsyncKernelManager):
    """Manager of one kernel that is forked instead of started afresh."""

    async def _async_pre_start_kernel(self, **kw: Any) -> Any:
        if self.provisioner is None:
            self.kernel_id = self.kernel_id or "preloaded"
            self.provisioner = _ForkProvisioner(
                kernel_id=self.kernel_id, kernel_spec=self.kernel_spec, parent=self
            )
        return await super()._async_pre_start_kernel(**kw)
