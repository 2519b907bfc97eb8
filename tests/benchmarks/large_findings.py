"""The sample blown up to 100,000 lives at 10,000 positions."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "dashboard"))

from sample import sample_findings

from analytics.findings import Findings

__all__ = ["N_LIVES", "N_POSITIONS", "large_findings"]

N_LIVES, N_POSITIONS = 100_000, 10_000


def large_findings() -> Findings:
    """Repeat the sample's rows under names of their own."""
    findings = sample_findings(positions=300)
    number = np.arange(N_LIVES)
    lives = _repeated(findings.lives, N_LIVES).assign(
        life_id=[f"L{n}" for n in number],
        position_id=[f"P-{n % N_POSITIONS:05d}" for n in number],
        crew=[f"crew {n % 25}" for n in number],
    )
    failures = _repeated(findings.installation.failures, 30_000)
    same = ["life_id", "position_id", "site", "crew", "lot"]
    failures[same] = lives[same].iloc[: len(failures)].to_numpy()
    names = [f"P-{n:05d}" for n in range(N_POSITIONS)]
    return replace(
        findings,
        lives=lives,
        endings={str(name): int(n) for name, n in lives["ending"].value_counts().items()},
        installation=replace(findings.installation, failures=failures),
        duty=_repeated(findings.duty, N_POSITIONS).assign(position_id=names),
        intervals=_repeated(findings.intervals, N_POSITIONS).assign(position_id=names),
    )


def _repeated(frame: pd.DataFrame, size: int) -> pd.DataFrame:
    return frame.iloc[np.arange(size) % len(frame)].reset_index(drop=True)
