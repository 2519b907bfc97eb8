"""From a historian in a log folder to duty by quarter in the findings, as a plant would run it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.duty.history import scan_history
from analytics.job import run
from analytics.logs.settings import parse_settings

INSTALLS = 40
BEGINS = pd.Timestamp("2020-01-01")


def write_logs(folder: Path, *, settings: str = "") -> Path:
    """Forty positions of one disc; the first runs hotter and harder from its second year on."""
    folder.mkdir()
    names = [f"P{number:02d}" for number in range(INSTALLS)]
    pd.DataFrame(
        {
            "position_id": names,
            "site": "north",
            "disc_code": "D",
            "max_operating_pressure [barg]": 6.0,
            "disc_temperature [degC]": 20.0,
        }
    ).to_csv(folder / "positions.csv", index=False)
    pd.DataFrame(
        {
            "disc_code": ["D"],
            "family": ["composite"],
            "specified_burst_pressure [barg]": [10.0],
            "coincident_temperature [degC]": [20.0],
            "temperature_curve": ["20:1.00/120:0.90"],
        }
    ).to_csv(folder / "discs.csv", index=False)
    pd.DataFrame(
        {
            "install_id": [f"I{number:02d}" for number in range(INSTALLS)],
            "position_id": names,
            "installed_on": f"{BEGINS:%F}",
            "disc_code": "D",
            "marked_burst_pressure [barg]": 10.0,
        }
    ).to_csv(folder / "installs.csv", index=False)
    random = np.random.default_rng(4)
    failed = range(10, 22)
    pd.DataFrame(
        {
            "removal_id": [f"R{number:02d}" for number in failed],
            "position_id": [names[number] for number in failed],
            "found_on": [
                f"{BEGINS + pd.Timedelta(days=int(days)):%F}"
                for days in random.integers(500, 1400, len(failed))
            ],
            "reason": "burst",
            "upset": "no",
        }
    ).to_csv(folder / "removals.csv", index=False)
    (folder / "logs.toml").write_text(
        'export_date = 2024-01-01\nlog_begins = 2020-01-01\ntime_zone = "Europe/Berlin"\n'
        + settings
    )
    history = folder / "pressure"
    history.mkdir()
    times = pd.date_range(BEGINS, "2024-01-01", freq="3h", inclusive="left")
    hard = times >= "2021-01-01"
    day = np.where(times.hour < 12, 1.0, 0.0)
    pd.DataFrame(
        {
            "position_id": names[0],
            "time": times,
            "pressure [barg]": np.where(hard, 5 + 2.0 * day, 4 + 1.5 * day),
            "temperature [degC]": np.where(hard, 70.0, 20.0),
        }
    ).to_parquet(history / "P00.parquet", index=False)
    return folder


CURVE = "[fatigue]\ncycles_at_one_bar = 1e6\nslope = 4.0\n"


def test_changed_duty_temperature_and_damage_reach_the_findings(tmp_path: Path):
    plain = run(write_logs(tmp_path / "plain", settings=CURVE), n_draws=60)
    goodman = run(
        write_logs(tmp_path / "goodman", settings=CURVE + 'mean_correction = "goodman"\n'),
        n_draws=60,
    )
    own = plain.duty_quarters[plain.duty_quarters["position_id"] == "P00"].reset_index(drop=True)

    assert len(own) == 16
    assert set(own["pressure_basis"]) == {"history"}
    # By hand: 5.5 of 9.5 bar at 20 degC, then 7 bar of 9.025 at 70 degC (factor 0.95).
    ratios = [5.5 / 9.5] * 4 + [7 / 9.025] * 12
    assert own["operating_ratio"].tolist() == pytest.approx(ratios, rel=0.004)
    assert own["temperature_degc"].tolist() == pytest.approx([20] * 4 + [70] * 12, abs=0.5)
    # One cycle a day of 1.5, then of 2 bar, N = 1e6 r^-4; 91.3 days a quarter.
    days = (own["to_on"] - own["from_on"]).dt.days
    by_hand = days * np.where(np.arange(16) < 4, 1.5, 2.0) ** 4 / 1e6
    assert own["damage"].tolist()[1:] == pytest.approx(by_hand.tolist()[1:], rel=0.03)
    raised = goodman.duty_quarters.loc[lambda rows: rows["position_id"] == "P00", "damage"]
    assert (raised.to_numpy() > 1.5 * own["damage"].to_numpy()).all()
    # Every other position has no history: its quarters are nominal, and said to be.
    others = plain.duty_quarters[plain.duty_quarters["position_id"] != "P00"]
    assert set(others["pressure_basis"]) == {"nominal"}
    assert others["operating_ratio"].tolist() == pytest.approx([6 / 9.5] * len(others))
    assert plain.wear is not None
    assert plain.wear.changed_duty is not None
    assert plain.wear.changed_duty.lives == 1


def test_interrupted_scan_is_gone_on_with(tmp_path: Path, monkeypatch):
    # Ctrl-C between files: what was tallied is kept, and the next run reads the rest only.
    logs, kept = write_logs(tmp_path / "logs"), tmp_path / "kept"
    whole = pd.read_parquet(logs / "pressure" / "P00.parquet")
    (logs / "pressure" / "P00.parquet").unlink()
    for year, rows in whole.groupby(whole["time"].dt.year):
        rows.to_parquet(logs / "pressure" / f"{year}.parquet", index=False)

    def interrupt(step: str) -> None:
        if "2 of 4" in step:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run(logs, n_draws=60, keep_in=kept, tell=interrupt)
    done = set(kept.glob("*.npz"))
    assert len(done) >= 2
    assert all(path.stat().st_size for path in done)
    read: list[str] = []
    from analytics.duty import history

    real = history.read_batches
    monkeypatch.setattr(
        history, "read_batches", lambda path, *rest: read.append(path.name) or real(path, *rest)
    )
    scan = {"zone": "Europe/Berlin", "change_days": {"P00": np.array([BEGINS], "datetime64[D]")}}
    resumed = scan_history(logs / "pressure", keep_in=kept, **scan)
    assert len(read) == 4 - len(done)
    assert resumed.equals(scan_history(logs / "pressure", **scan))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[fatigue]\nslope = 3.0\n", "cycles_at_one_bar"),
        (CURVE.replace("4.0", "-4.0"), "must be > 0"),
        (CURVE + 'mean_correction = "best"\n', "mean_correction"),
    ],
)
def test_fatigue_curve_that_does_not_fit_is_refused(text: str, said: str):
    from analytics.errors import InputError

    with pytest.raises(InputError, match=said):
        parse_settings(text)
