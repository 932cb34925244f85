"""JupyterLab on this machine alone, with a workbook open in headless Chromium."""

import os
import re
import secrets
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import nbformat

from rca.records import files
from tests.browser import browser_page

QUIET = [
    "--LabApp.news_url=None",
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    "--LabApp.extension_manager=readonly",
]
READY = """async () => {
  await window.jupyterapp.restored;
  const panel = window.jupyterapp.shell.currentWidget;
  if (!panel || !panel.sessionContext) throw new Error("no notebook is open");
  await panel.context.ready;
  await panel.sessionContext.ready;
  await panel.sessionContext.session.kernel.info;
}"""
# A question put while the connection is being restored may never be answered: it is put again.
RESTART = """async () => {
  const context = window.jupyterapp.shell.currentWidget.sessionContext;
  const within = (seconds, promise) => Promise.race([
    promise.then(() => true), new Promise(end => setTimeout(() => end(false), seconds * 1000))]);
  if (!await within(30, context.restartKernel())) throw new Error("the kernel does not restart");
  for (let tries = 0; tries < 10; tries++)
    if (await within(3, context.session.kernel.requestKernelInfo())) return;
  throw new Error("the restarted kernel does not answer");
}"""
RUN_ALL = """() => {
  for (const cell of window.jupyterapp.shell.currentWidget.model.cells)
    if (cell.type === 'code') cell.executionCount = null;
  window.jupyterapp.commands.execute('notebook:run-all-cells');
}"""
RUNNING = """() => [...window.jupyterapp.shell.currentWidget.model.cells]
  .some(cell => cell.type === 'code' && cell.executionCount)"""
SAVE = "() => window.jupyterapp.commands.execute('docmanager:save')"


def workbook_with(folder: Path, name: str, **parameters: str) -> Path:
    """Copy a workbook into a folder with other values in its parameters cell."""
    book = nbformat.read(files.shipped("workbooks") / name, as_version=4)
    cell = next(c for c in book.cells if "parameters" in c.metadata.get("tags", []))
    for key, value in parameters.items():
        cell.source, count = re.subn(
            rf"^{key} = .*$", f"{key} = {value!r}", cell.source, flags=re.MULTILINE
        )
        assert count == 1, f"{name} has no parameter {key}"
    nbformat.write(book, folder / name)
    return folder / name


@contextmanager
def lab(root: Path) -> Iterator[str]:
    """Run JupyterLab on a folder, loopback only, with a fresh token; give its address."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    token = secrets.token_hex(16)
    home = root / ".home"
    settings = home / "user-settings" / "@jupyterlab" / "apputils-extension"
    settings.mkdir(parents=True)
    (settings / "notification.jupyterlab-settings").write_text(
        '{"fetchNews": "false", "checkForUpdates": false}', encoding="utf-8"
    )
    held = {key: value for key, value in os.environ.items() if not key.startswith("JUPYTER")}
    here = str(Path(__file__).parent.parent)
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", f"--port={port}",
        "--ServerApp.port_retries=0", f"--ServerApp.root_dir={root}", "--allow-root",
        f"--LabApp.user_settings_dir={home / 'user-settings'}",
        f"--IdentityProvider.token={token}", "--expose-app-in-browser", *QUIET,
    ]  # fmt: skip
    environment = {
        **held, "HOME": str(home), "IPYTHONDIR": str(home), "JUPYTER_PREFER_ENV_PATH": "1",
        "PYTHONPATH": here, "JUPYTER_PLATFORM_DIRS": "1", "PYTHONDONTWRITEBYTECODE": "1",
    }  # fmt: skip
    with (home / "lab.log").open("w") as log:
        process = subprocess.Popen(
            command, env=environment, stdout=log, stderr=subprocess.STDOUT, cwd=root
        )
        try:
            _wait_for(f"http://127.0.0.1:{port}/api?token={token}", process, home / "lab.log")
            yield f"http://127.0.0.1:{port}/lab/tree/{{name}}?token={token}&reset"
        finally:
            process.terminate()
            try:
                process.wait(timeout=15)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait_for(address: str, process: subprocess.Popen, log: Path) -> None:
    for _ in range(240):
        if process.poll() is not None:
            break
        try:
            with urllib.request.urlopen(address, timeout=2) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            time.sleep(0.25)
    raise AssertionError(f"JupyterLab did not start:\n{log.read_text()[-2000:]}")


@contextmanager
def open_workbook(root: Path, name: str, *, width: int = 1280, height: int = 900) -> Iterator:
    """Open a workbook of `root` in JupyterLab and run all its cells in a fresh kernel."""
    with lab(root) as address, browser_page(width=width, height=height, online=True) as page:
        page.set_default_timeout(90_000)
        page.goto(address.format(name=name))
        wait_for_kernel(page)
        run_all(page)
        yield page


def wait_for_kernel(page) -> None:
    """Wait until the notebook is open and its kernel answers."""
    page.wait_for_function("() => window.jupyterapp && window.jupyterapp.shell.currentWidget")
    late = "new Promise((_, no) => setTimeout(() => no(new Error('no kernel in 80 s')), 80000))"
    page.evaluate(f"() => Promise.race([({READY})(), {late}])")


def run_all(page) -> None:
    """Run all cells, and see that the first one has begun: Lab can lose the command."""
    for _ in range(3):
        page.evaluate(RUN_ALL)
        for _ in range(40):
            if page.evaluate(RUNNING):
                return
            page.wait_for_timeout(250)
    raise AssertionError("JupyterLab did not run the cells")


def reload(page) -> None:
    """Save the notebook, open the page anew, restart the kernel and run all cells."""
    page.evaluate(SAVE)
    page.reload()
    wait_for_kernel(page)
    page.evaluate(RESTART)
    run_all(page)


def outside(page) -> list[str]:
    """Return every address asked for that is not this machine's."""
    own = re.compile(r"(https?|wss?)://127\.0\.0\.1:\d+/|data:|blob:|about:")
    return [url for url in page.requests if not own.match(url)]


UNLABELLED = """() => [...document.querySelectorAll(
    '.rca-form input, .rca-form select, .rca-form textarea')]
  .filter(e => e.offsetParent && ![...e.labels].some(l => l.textContent.trim()))
  .map(e => e.outerHTML.slice(0, 120))"""
OVERLAPS = """() => {
  const shown = [...document.querySelectorAll('.rca-form :is(input, select, textarea, button, ' +
    '.widget-label, h3, h4, .rca-message > div, table.sheet)')].filter(e => e.checkVisibility());
  const boxes = shown.map(e => [e, e.getBoundingClientRect()])
    .filter(([, box]) => box.width * box.height);
  const found = [];
  for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
    const [a, p] = boxes[i], [b, q] = boxes[j];
    if (a.contains(b) || b.contains(a)) continue;
    const across = Math.min(p.right, q.right) - Math.max(p.left, q.left);
    const down = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
    if (across > 1.5 && down > 1.5) found.push(a.outerHTML.slice(0, 90) + ' | ' +
      b.outerHTML.slice(0, 90));
  }
  return found;
}"""
CUT = """() => [...document.querySelectorAll(
    '.rca-form :is(.widget-label, button, p, li, td, th, h3)')]
  .filter(e => e.offsetParent && getComputedStyle(e).overflow !== 'visible' &&
    (e.scrollWidth > e.clientWidth + 1 || e.scrollHeight > e.clientHeight + 1))
  .map(e => e.outerHTML.slice(0, 120))"""
BESIDE = """() => {
  const right = document.querySelector('.jp-WindowedPanel-outer, .jp-Notebook')
    .getBoundingClientRect().right;
  return [...document.querySelectorAll('.rca-form :is(input, select, textarea, button, table, h3)')]
    .filter(e => e.offsetParent && !e.closest('.wide') && e.getBoundingClientRect().right > right)
    .map(e => e.outerHTML.slice(0, 120));
}"""


def layout_faults(page, *, widths: tuple[int, ...] = (1280, 1920)) -> list[str]:
    """Return what overlaps, is cut, lies outside the window or has no label, at some widths."""
    found = []
    height = page.viewport_size["height"]
    for width in widths:
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(700)
        for name, script in (("overlap", OVERLAPS), ("cut", CUT), ("outside", BESIDE),
                             ("no label", UNLABELLED)):  # fmt: skip
            found += [f"{width}: {name}: {one}" for one in page.evaluate(script)]
    return found
