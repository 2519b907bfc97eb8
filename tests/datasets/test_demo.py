"""The demo world: the same every time, as large as promised, and silent about its truth."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rainflow

from analytics.logs.tables import FAMILIES, REASONS, TABLES
from datasets.demo import demo_truth, make_demo, write_truth

WORKBOOKS = {"discs", "stock"}


def read(folder: Path, name: str) -> pd.DataFrame:
    if name in WORKBOOKS:
        return pd.read_excel(folder / f"{name}.xlsx", dtype=object)
    return pd.read_csv(folder / f"{name}.csv", dtype=object)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo")
    make_demo(path)
    return path


@pytest.fixture(scope="module")
def history(folder: Path) -> pd.DataFrame:
    return pd.concat([pd.read_parquet(f) for f in sorted((folder / "pressure").glob("*.parquet"))])


def test_every_declared_column_is_there_with_its_unit_and_no_other(folder: Path):
    for name, table in TABLES.items():
        headers = list(read(folder, name).columns)
        assert [h.split(" [")[0] for h in headers] == [c.name for c in table.columns]
        with_unit = {h.split(" [")[0] for h in headers if " [" in h}
        assert with_unit == {c.name for c in table.columns if c.dimension is not None}


def test_same_seed_same_logs_other_seed_other_logs(folder: Path, tmp_path: Path):
    make_demo(tmp_path / "again")
    make_demo(tmp_path / "other", seed=5)
    for name in TABLES:
        pd.testing.assert_frame_equal(read(folder, name), read(tmp_path / "again", name))
    for path in sorted((folder / "pressure").iterdir()):
        assert path.read_bytes() == (tmp_path / "again" / "pressure" / path.name).read_bytes()
    assert not read(folder, "removals").equals(read(tmp_path / "other", "removals"))


def test_the_world_has_the_size_it_promises():
    truth = demo_truth()
    endings = truth.lives["ending"].value_counts()
    premature = endings["premature"] + endings["unclear premature"]

    assert 400 <= len(truth.cycles_per_year) <= 440
    assert 2_000 <= len(truth.lives) <= 2_600
    assert 450 <= premature <= 600
    assert 0.35 <= truth.share_owed <= 0.45
    assert 0.05 <= (endings["unclear premature"] + endings["unclear demand"]) / premature <= 0.18
    assert 2 <= endings["dangerous"] <= 10
    assert endings["in_service"] == len(truth.cycles_per_year)


def test_truth_follows_its_own_hazards():
    # Independent route: for exact lives the cumulative hazard at the end, less that at entry,
    # summed over lives, has the same expectation as the number of failures (a martingale).
    truth = demo_truth()
    p, lives = truth.parameters, truth.lives[truth.lives["ending"] != "wrong_disc"]

    def cumulative(age: pd.Series) -> pd.Series:
        old = lives["pace"] * age
        return (
            np.exp(lives["log_rate"]) * old**p.install_shape
            + (old / lives["scale"]) ** p.wear_shape
        )

    expected = (cumulative(lives["age_years"]) - cumulative(lives["entry_years"])).sum()
    failed = lives["ending"].isin(["premature", "unclear premature"]).sum()
    assert abs(failed - expected) < 4 * np.sqrt(expected)


def test_defects_fall_with_the_programme_and_worse_crews_work_on_harder_places():
    lives = demo_truth().lives
    before = lives["installed_on"] < lives["installed_on"].max() - 3.75 * 365.25
    assert lives.loc[~before, "gap_even"].mean() < 0.6 * lives.loc[before, "gap_even"].mean()

    by_crew = lives.groupby("crew")
    rate, wear = by_crew["log_rate"].mean(), -np.log(lives["scale"]).groupby(lives["crew"]).mean()
    assert np.corrcoef(rate, wear)[0, 1] > 0.3


def test_no_truth_in_the_folder(folder: Path, tmp_path: Path):
    names = {p.name for p in folder.rglob("*")}
    assert not {n for n in names if "truth" in n or n.endswith(".json")}
    write_truth(tmp_path / "truth.json")
    truth = json.loads((tmp_path / "truth.json").read_text())
    assert truth["parameters"]["ratio_exponent"] == demo_truth().parameters.ratio_exponent
    for name in TABLES:
        assert not [c for c in read(folder, name).columns if "true" in c or "latent" in c]


def test_settings_name_the_company_and_the_span(folder: Path):
    settings = tomllib.loads((folder / "logs.toml").read_text(encoding="utf-8"))
    assert set(settings) == {"title", "currency", "log_begins", "export_date", "programmes"}
    removals = pd.to_datetime(read(folder, "removals")["found_on"], errors="coerce")
    inside = removals.dt.date.between(settings["log_begins"], settings["export_date"])
    assert (~inside).sum() == 4  # 1917, 2027, blank and 31 February


def test_the_dirt_is_there_and_the_rest_is_sound(folder: Path):
    removals, installs = read(folder, "removals"), read(folder, "installs")
    assert removals["removal_id"].duplicated().sum() == 7
    assert installs["install_id"].duplicated().sum() == 9
    assert set(removals["reason"]) - set(REASONS) == {"blown"}
    assert set(read(folder, "discs")["family"]) <= set(FAMILIES)
    assert (read(folder, "stock")["quantity"] < 0).sum() == 1
    assert "peak_pressure [kPag]" in removals.columns
    assert "specified_burst_pressure [psig]" in read(folder, "discs").columns


def test_a_lot_has_one_mark_within_the_manufacturing_range(folder: Path):
    discs = read(folder, "discs").set_index("disc_code")
    installs = read(folder, "installs")
    mark = "marked_burst_pressure [barg]"
    installs = installs[~installs["install_id"].fillna("I9").str.startswith("I9")].dropna(
        subset=[mark, "lot"]
    )
    installs[mark] = installs[mark].astype(float)
    assert (installs.groupby("lot")[mark].nunique() == 1).all()
    specified = installs["disc_code"].map(discs["specified_burst_pressure [psig]"]).astype(float)
    offset = 100 * (installs[mark] / (specified * 0.0689475729316836) - 1)
    assert (
        offset >= -installs["disc_code"].map(discs["range_minus_pct"]).astype(float) - 0.3
    ).all()
    assert (offset <= installs["disc_code"].map(discs["range_plus_pct"]).astype(float) + 0.3).all()


def test_the_historian_shows_the_true_cycles_and_pressure(history: pd.DataFrame):
    truth = demo_truth()
    assert len(history) <= 3_000_000
    assert 0.70 <= history["position_id"].nunique() / len(truth.cycles_per_year) <= 0.80
    checked = 0
    for name, one in list(history.groupby("position_id", observed=True))[::23]:
        value = one["pressure [barg]"].to_numpy()
        hours = one["time"].diff().dt.total_seconds().shift(-1).fillna(0).to_numpy()
        years = hours.sum() / (365.25 * 86_400)
        if abs(np.diff(value)).max() > 0.9 * value.max():
            continue  # the spike and the stuck stretch are dirt, not duty
        counted = sum(
            c for r, _, c, _, _ in rainflow.extract_cycles(value) if r > 0.05 * value.max()
        )
        assert counted / years == pytest.approx(truth.cycles_per_year[name], rel=0.05, abs=1.0)
        order = np.argsort(value)
        weight = np.cumsum(hours[order]) / hours.sum()
        top = value[order][np.searchsorted(weight, 0.95)]
        assert top == pytest.approx(truth.operating_pressure_barg[name], rel=0.02)
        checked += 1
    assert checked >= 10


def test_some_stock_is_expired_and_the_bad_lot_still_lies_there(folder: Path):
    stock = read(folder, "stock")
    expired = pd.to_datetime(stock["expires_on"]) < pd.Timestamp("2026-09-30")
    assert expired.sum() >= 1
    assert demo_truth().bad_lot in set(stock["lot"])
    orders = read(folder, "orders")
    assert (pd.to_datetime(orders["due_on"]) < pd.Timestamp("2026-09-30")).sum() == 1
