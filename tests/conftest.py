"""The demo, made and analysed once for all tests that look at it."""

from pathlib import Path

import pytest

from analytics.findings import Findings
from analytics.job import run
from datasets.demo import make_demo


@pytest.fixture(scope="session")
def demo_logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo-logs")
    make_demo(folder)
    return folder


@pytest.fixture(scope="session")
def demo_findings(demo_logs: Path) -> Findings:
    return run(demo_logs)
