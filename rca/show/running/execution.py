"""Papermill runs a workbook: parameters checked, time limited, kernel quiet, no secret kept."""

import json
import os
import re
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from rca.errors import RcaError

INJECTED = "injected-parameters"
LEAST_SECONDS = 1
_PASSWORD = re.compile(r"://[^:/@]*:([^@]+)@")


class WorkbookFailed(RcaError):
    """A cell of the workbook failed, its kernel died, or the time was up."""

    def __init__(self, kind: str, value: str) -> None:
        super().__init__(f"the workbook failed: {kind}: {value}" if value else kind)
        self.kind = kind


def run_workbook(
    source: Path,
    target: Path,
    *,
    parameters: Mapping[str, Any],
    seconds: float,
    secrets: Sequence[str] = (),
    shown: Mapping[str, str] | None = None,
    kernel_manager: type | None = None,
) -> None:
    """Execute the workbook `source` with `parameters` into `target`, in the folder of `target`.

    Parameters
    ----------
    seconds
        Time after which the run is given up and its kernel killed.
    secrets
        Texts that must stand nowhere; they are struck out of errors and of a failed notebook.
    shown
        What the finished notebook shows in place of some texts, such as a path of this machine.
    kernel_manager
        Class that starts the kernel; None for an ordinary one.

    Raises
    ------
    WorkbookFailed
        A cell failed, the kernel died or the time was up; `target` is the notebook so far.
    """
    import papermill
    from nbclient.exceptions import CellTimeoutError, DeadKernelError

    check_parameters(source, tuple(parameters))
    end = time.monotonic() + seconds
    options = {} if kernel_manager is None else {"kernel_manager_class": kernel_manager}
    ran: dict[int, Any] = {}
    with _own_jupyter_folders():
        try:
            papermill.execute_notebook(
                str(source),
                str(target),
                parameters=dict(parameters),
                kernel_name="python3",
                progress_bar=False,
                log_output=False,
                request_save_on_cell_execute=False,  # written at the end, also by `_rescue`
                autosave_cell_every=0,
                on_cell_start=lambda cell, cell_index: ran.update({cell_index: cell}),
                cwd=str(target.parent),
                timeout_func=lambda cell: max(LEAST_SECONDS, int(end - time.monotonic())),
                config=_quiet(),
                **options,
            )
        except CellTimeoutError as error:
            _rescue(target, ran)
            _strike_out(target, secrets)
            raise WorkbookFailed(f"the time limit of {seconds / 60:g} minutes is up", "") from error
        except (DeadKernelError, RuntimeError) as error:
            _rescue(target, ran)
            _strike_out(target, secrets)
            why = "its kernel died; out of memory, or ended by hand?"
            raise WorkbookFailed(why, "") from error
        except papermill.PapermillExecutionError as error:
            _strike_out(target, secrets)
            raise WorkbookFailed(error.ename, struck_out(error.evalue, secrets)) from None
    _clean(target, shown or {})


def _rescue(target: Path, ran: Mapping[int, Any]) -> None:
    """Write the cells that were begun, where papermill itself has written nothing."""
    import nbformat
    from nbformat import v4

    if not target.is_file():
        nbformat.write(v4.new_notebook(cells=[ran[place] for place in sorted(ran)]), target)


def check_parameters(workbook: Path, wanted: tuple[str, ...]) -> None:
    """Refuse a workbook without a parameters cell, or with other parameters than these.

    Papermill only warns of both, and then runs with the workbook's own defaults.
    """
    import papermill

    found = set(papermill.inspect_notebook(str(workbook)))
    if found != set(wanted):
        raise RcaError(
            f"{workbook.name} takes {', '.join(sorted(found)) or 'no parameters'}, "
            f"but must take {', '.join(wanted)}",
            next_step="restore its cell tagged parameters",
        )


def _quiet() -> Any:
    """Have kernels encrypt their channels where they can, so that they do not warn at each run."""
    from jupyter_client.manager import KernelManager
    from traitlets.config import Config

    config = Config()
    if "transport_encryption" in KernelManager.class_trait_names():
        config.KernelManager.transport_encryption = "auto"
        config.AsyncKernelManager.transport_encryption = "auto"
    return config


@contextmanager
def _own_jupyter_folders() -> Iterator[None]:
    """Keep Jupyter's and IPython's folders out of the home folder, which a service may not have.

    So no start-up file of whoever runs it can change a report either.
    """
    names = ("JUPYTER_RUNTIME_DIR", "IPYTHONDIR", "JUPYTER_PLATFORM_DIRS")
    before = {name: os.environ.get(name) for name in names}
    with tempfile.TemporaryDirectory(prefix="rca-", ignore_cleanup_errors=True) as folder:
        os.environ.update({"JUPYTER_RUNTIME_DIR": folder, "IPYTHONDIR": folder})
        os.environ["JUPYTER_PLATFORM_DIRS"] = "1"
        try:
            yield
        finally:
            for name, value in before.items():
                if value is None:
                    os.environ.pop(name, None)
                else:
                    os.environ[name] = value


def _clean(notebook: Path, shown: Mapping[str, str]) -> None:
    """Take paths of this machine and the times of single cells out of an executed notebook."""
    import nbformat

    node = nbformat.read(notebook, as_version=4)
    about = node.metadata.get("papermill", {})
    for key in ("input_path", "output_path", "environment_variables"):
        about.pop(key, None)
    for cell in node.cells:
        for key in ("papermill", "execution"):
            cell.metadata.pop(key, None)
        if INJECTED in cell.metadata.get("tags", []):
            cell.id = INJECTED
            for text, other in shown.items():
                cell.source = cell.source.replace(json.dumps(text), json.dumps(other))
    said = about.get("parameters", {})
    about["parameters"] = {key: shown.get(value, value) for key, value in said.items()}
    nbformat.write(node, notebook)


def secrets_in(names: Sequence[str]) -> tuple[str, ...]:
    """Return what some environment variables hold, and the passwords inside addresses."""
    found = []
    for value in filter(None, map(os.environ.get, filter(None, names))):
        found.append(value)
        if password := _PASSWORD.search(value):
            found += [password[1], unquote(password[1])]
    found += [json.dumps(one)[1:-1] for one in found]  # as they would stand in a notebook
    return tuple(sorted({one for one in found if len(one) >= 4}, key=len, reverse=True))


def struck_out(text: str, secrets: Sequence[str]) -> str:
    """Return a text with every secret struck out."""
    for secret in secrets:
        text = text.replace(secret, "***")
    return text


def _strike_out(notebook: Path, secrets: Sequence[str]) -> None:
    if secrets and notebook.is_file():
        text = notebook.read_text(encoding="utf-8")
        notebook.write_text(struck_out(text, secrets), encoding="utf-8")
