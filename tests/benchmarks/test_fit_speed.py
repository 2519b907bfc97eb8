"""How fast is a Weibull regression beside lifelines and R's survreg, on the same rows?

Six covariates, a third of the lives censored; the same log-likelihood first, then wall time, each
the least of several runs in one session. Results go to `../studies/results/fit_speed.csv`.
R's survreg is timed without reading the data, when Rscript and its survival package are there.
"""

import csv
import os
import shutil
import subprocess
import time
import tracemalloc
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from lifelines import WeibullAFTFitter

from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import Lifetimes, lifetimes

NAMES = tuple("abcdef")
EFFECTS = np.array([0.3, -0.2, 0.1, 0.0, 0.5, -0.4])
RESULTS = Path(__file__).parents[1] / "studies" / "results" / "fit_speed.csv"
SURVREG = """
suppressMessages(library(survival))
arguments <- commandArgs(TRUE)
n <- as.integer(arguments[2])
x <- matrix(readBin(arguments[1], "double", 8 * n), n, 8)
frame <- as.data.frame(x)
names(frame) <- c("time", "failed", "a", "b", "c", "d", "e", "f")
best <- Inf
for (run in seq_len(as.integer(arguments[3]))) {
  begun <- proc.time()[["elapsed"]]
  for (again in seq_len(as.integer(arguments[4])))
    result <- survreg(Surv(time, failed) ~ a + b + c + d + e + f, data = frame)
  best <- min(best, (proc.time()[["elapsed"]] - begun) / as.integer(arguments[4]))
}
cat(sprintf("%.17g %.17g", result$loglik[2], best))
"""

pytestmark = pytest.mark.benchmark


def fleet(n: int) -> tuple[Lifetimes, np.ndarray]:
    random = np.random.default_rng(n)
    x = random.normal(size=(n, 6))
    life = np.exp(2 + x @ EFFECTS + 0.5 * np.log(random.exponential(size=n)))
    end = random.exponential(20, n)
    return lifetimes(np.minimum(life, end), np.where(life <= end, life, np.inf)), x


def least(runs: int, call, again: int = 1) -> float:
    times = []
    for _ in range(runs):
        begun = time.perf_counter()
        for _ in range(again):
            call()
        times.append((time.perf_counter() - begun) / again)
    return min(times)


def survreg(data: Lifetimes, x: np.ndarray, folder: Path, runs: int, again: int):
    """Log-likelihood and seconds of R's survreg; None where it is not installed."""
    if shutil.which("Rscript") is None:
        return None
    table = np.column_stack([data.lower, data.ended, x])
    table.T.tofile(folder / "rows.bin")
    (folder / "survreg.R").write_text(SURVREG)
    told = subprocess.run(
        [
            "Rscript",
            folder / "survreg.R",
            folder / "rows.bin",
            str(len(data)),
            str(runs),
            str(again),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    if told.returncode:
        return None
    log_likelihood, seconds = map(float, told.stdout.split())
    return log_likelihood, seconds


def lifelines_frame(data: Lifetimes, x: np.ndarray) -> pd.DataFrame:
    return pd.DataFrame(x, columns=list(NAMES)).assign(time=data.lower, failed=data.ended)


@pytest.mark.parametrize(
    ("n", "beside_lifelines", "beside_survreg"), [(300, 100, 1), (10**6, 25, 25)]
)
def test_same_answer_sooner(n, beside_lifelines, beside_survreg, tmp_path):
    data, x = fleet(n)
    small = n < 10_000
    frame = lifelines_frame(data, x)
    result = fit(data, Family.WEIBULL, x, NAMES)
    theirs = WeibullAFTFitter().fit(frame, "time", "failed")
    ours = least(5, lambda: fit(data, Family.WEIBULL, x, NAMES), 200 if small else 1)
    lifelines = least(3 if small else 1, lambda: WeibullAFTFitter().fit(frame, "time", "failed"))
    r = survreg(data, x, tmp_path, 3 if small else 1, 20 if small else 1)

    record(n, "lifelines", ours, lifelines)
    assert result.log_likelihood == pytest.approx(theirs.log_likelihood_, rel=1e-8)
    assert lifelines / ours > beside_lifelines
    if r is None:
        pytest.skip("lifelines compared; R with its survival package is not here")
    record(n, "survreg", ours, r[1])
    assert result.log_likelihood == pytest.approx(r[0], rel=1e-8)
    assert r[1] / ours > beside_survreg


def test_memory_stays_under_twice_the_data():
    data, x = fleet(10**6)
    held = sum(part.nbytes for part in (data.entry, data.lower, data.upper, data.weight, x))
    fit(*fleet(100)[:1], Family.WEIBULL, fleet(100)[1], NAMES)
    tracemalloc.start()
    fit(data, Family.WEIBULL, x, NAMES)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"\npeak beside the data: {peak / held:.2f} of it")

    assert peak + held < 2 * held


def test_time_grows_with_the_rows_and_no_faster():
    sizes = [10**5, 10**6]
    fleets = [fleet(n) for n in sizes]
    times = [least(7, lambda d=d, x=x: fit(d, Family.WEIBULL, x, NAMES)) for d, x in fleets]
    power = np.log(times[1] / times[0]) / np.log(sizes[1] / sizes[0])
    print(f"\ntime grows as n^{power:.3f}: {times[0]:.4f} s, {times[1]:.4f} s")

    assert power < 1.05


def record(n: int, beside: str, ours: float, theirs: float) -> None:
    told = f"{ours * 1e3:.3f} ms, {beside} {theirs * 1e3:.1f} ms, {theirs / ours:.0f} times"
    print(f"\n{n} rows: {told}")
    new = not RESULTS.exists()
    with RESULTS.open("a", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        if new:
            writer.writerow(["date", "rows", "beside", "ours_ms", "theirs_ms", "ratio", "load"])
        load = os.getloadavg()[0]
        writer.writerow(
            [date.today(), n, beside, f"{ours * 1e3:.3f}", f"{theirs * 1e3:.1f}",
             f"{theirs / ours:.0f}", f"{load:.1f}"]
        )  # fmt: skip
