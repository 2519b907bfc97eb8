"""A Chromium of this machine and a dashboard to point it at."""

import contextlib
import shutil
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import waitress
from playwright.sync_api import Browser, sync_playwright

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "dashboard"))

from sample import sample_findings
from small_logs import small_logs

from analytics.findings import Findings
from dashboard.access.people import Access
from dashboard.app import build_app

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("no Chromium on this machine: install the system's chromium package")
    with sync_playwright() as player:
        browser = player.chromium.launch(executable_path=found, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Serve the invented sample, with a small folder to record into, and give its address.

    For each module anew: a test may read the small folder, and then shows that instead.
    """
    logs = small_logs(tmp_path_factory.mktemp("records") / "logs")
    yield from served(sample_findings(), logs)


def served(
    findings: Findings, logs: Path | None = None, access: Access | None = None
) -> Iterator[str]:
    server = waitress.create_server(
        build_app(findings, logs=logs, access=access).server,
        host="127.0.0.1",
        port=0,
        threads=4,
        clear_untrusted_proxy_headers=True,
    )

    def run() -> None:
        # closing the sockets below may catch the loop waiting on them
        with contextlib.suppress(OSError):
            server.run()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}"
    server.close()
    thread.join(timeout=5)
