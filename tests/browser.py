"""Headless Chromium with the network cut, for tests of pages as people see them."""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


def chromium() -> str:
    """Return Chromium's path; without it skip, or fail where the browser must run."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        if os.environ.get("RCA_BROWSER_MUST_RUN"):
            pytest.fail("no Chromium found, and this run must have one")
        pytest.skip("no Chromium on this machine (Debian: apt-get install chromium)")
    return path


@contextmanager
def browser_page(*, width: int = 1280, height: int = 900, online: bool = False) -> Iterator:
    """Open a page in a fresh browser; `requests` on it lists every address asked for."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium(), args=FLAGS)
        context = browser.new_context(
            viewport={"width": width, "height": height}, offline=not online
        )  # fmt: skip
        page = context.new_page()
        page.requests, page.errors = [], []
        page.on("request", lambda request: page.requests.append(request.url))
        page.on("pageerror", lambda error: page.errors.append(str(error)))
        try:
            yield page
        finally:
            context.close()
            browser.close()
