"""Does the spares forecast keep its promises on plants whose truth is known?

Run with `pytest -m study tests/studies/test_spares_study.py`; `SPARES_FLEETS` sets the
number of plants of each kind. Every run writes its figures, misses included, into `results/`.
"""

import os
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from spares_fleets import (
    BEGINS,
    FITTING_LOSS,
    HISTORY_YEARS,
    HORIZON_WEEKS,
    Kind,
    build,
    fitted,
    positions,
    true_positions,
    when,
)
from store_years import discs_used, run_stock

from analytics.spares.backtest import backtest, covered_share
from analytics.spares.counts import WEEK_YEARS
from analytics.spares.demand import forecast_demand
from analytics.spares.past_policy import coming_levels
from analytics.spares.policy import Terms, order_quantity, quantile
from analytics.spares.upsets import upset_events, upset_rates

pytestmark = pytest.mark.study

FLEETS = int(os.environ.get("SPARES_FLEETS", "200"))
SEED = 20251125
DRAWS = 200
LEAD_WEEKS = 16
STORE_YEARS = int(os.environ.get("SPARES_STORE_YEARS", "100000"))
TERMS = Terms(unit_price=800.0, lead_time_weeks=LEAD_WEEKS, lead_time_sd_weeks=0.0, lot_charge=400)
TARGETS = {"A": 0.99, "B": 0.97, "C": 0.95}
RESULTS = Path(__file__).parent / "results"


def forecasts(plant, seed):
    """Forecast from the log alone, and from the truth."""
    log = plant.lives[plant.lives["ended"] <= HISTORY_YEARS].assign(
        ended_on=lambda frame: when(frame["ended"])
    )
    units = plant.places.groupby("unit", sort=False)["position_id"].size()
    rates = upset_rates(upset_events(log), units, HISTORY_YEARS, n_draws=DRAWS, seed=seed)
    # A year of levels looks a lead time and a review beyond the year.
    options = {"n_weeks": HORIZON_WEEKS + LEAD_WEEKS + 1, "fitting_loss": FITTING_LOSS}
    ours = forecast_demand(positions(plant, *fitted(plant, DRAWS, seed)), rates, **options)
    truth = forecast_demand(*true_positions(plant), **options)
    return ours, truth


def one(kind: Kind, seed: int) -> tuple[pd.DataFrame, list[dict]]:
    plant = build(kind, seed)
    ours, truth = forecasts(plant, seed)
    cut = when(HISTORY_YEARS)

    def pmfs(forecast):
        return {(g.store, g.disc_code): g.pmf[HORIZON_WEEKS] for g in forecast.groups}

    scores = [
        backtest(
            lambda _cut, _weeks, forecast=forecast: pmfs(forecast),
            plant.usage,
            [cut],
            begins=BEGINS,
            horizon_weeks=HORIZON_WEEKS,
            name=name,
        ).rows
        for name, forecast in (("discward", ours), ("truth", truth))
    ]
    rows = pd.concat([scores[0], scores[1][scores[1]["method"] == "truth"]])
    policy = [
        {
            "seed": seed,
            "criticality": level,
            "pieces": int(quantile(mine.pmf[LEAD_WEEKS], target)),
            "pieces_truth": int(quantile(real.pmf[LEAD_WEEKS], target)),
            "promised": _reached(mine.pmf[LEAD_WEEKS], quantile(mine.pmf[LEAD_WEEKS], target)),
            "achieved": _reached(real.pmf[LEAD_WEEKS], quantile(mine.pmf[LEAD_WEEKS], target)),
            **_played(mine, real, used, target),
        }
        for mine, real in zip(ours.groups, truth.groups, strict=True)
        for used in [_store_years(plant, mine.store, mine.disc_code, seed)]
        for level, target in TARGETS.items()
    ]
    return rows.assign(seed=seed), policy


def _reached(pmf, pieces) -> float:
    return float(pmf[: int(pieces) + 1].sum())


def _store_years(plant, store, code, seed):
    """Discs one group uses in each week of many years to come, unit by unit."""
    truth, places = plant.truth, plant.places
    mine = ((places["store"] == store) & (places["disc_code"] == code)).to_numpy()
    runs = -(-STORE_YEARS // (FLEETS * places.groupby(["store", "disc_code"]).ngroups))
    used = np.zeros((runs, HORIZON_WEEKS), dtype=np.int64)
    for number, unit in enumerate(places["unit"][mine].unique()):
        here = mine & (places["unit"] == unit).to_numpy()
        (site,) = places["site"][here].unique()
        dates = np.array(truth.turnarounds[site]) - HISTORY_YEARS
        # A disc is handed out in the week its outage begins, as the forecast counts it.
        whole = (np.ceil(dates[dates > 0] / WEEK_YEARS) - 1e-6) * WEEK_YEARS
        used += discs_used(
            ages=plant.age_years[here],
            scale=truth.scale_years[places["code"][here].iloc[0]],
            shape=truth.shape,
            planned_years=whole,
            rate=truth.upset_rate,
            opened=truth.opened,
            loss=FITTING_LOSS,
            weeks=HORIZON_WEEKS,
            runs=runs,
            seed=1000 * seed % 2**31 + 10 * number + int(code[1:]),
        )
    return used


def _played(mine, real, used, target) -> dict[str, float]:
    """Service and money of both policies over the store-years."""
    pieces = int(quantile(mine.pmf[LEAD_WEEKS], target))
    # One lot size for both, so that only what is known tells them apart.
    lot = order_quantity(float(real.mean[HORIZON_WEEKS]), TERMS)
    played = {"years": len(used)}
    played["achieved_played"] = float((used[:, :LEAD_WEEKS].sum(axis=1) <= pieces).mean())
    for name, group in (("", mine), ("_truth", real)):
        levels = coming_levels(group, LEAD_WEEKS, target, HORIZON_WEEKS)
        year = run_stock(used, levels, lot, LEAD_WEEKS)
        played[f"in_stock{name}"] = 1 - float(year.weeks_out.mean()) / HORIZON_WEEKS
        played[f"cost{name}"] = year.cost(
            TERMS.cost_per_order, TERMS.unit_price, TERMS.holding_rate
        )
    return played


@pytest.fixture(scope="module", params=list(Kind), ids=lambda kind: kind.value)
def study(request):
    played = [
        one(request.param, SEED + 1000 * list(Kind).index(request.param) + i) for i in range(FLEETS)
    ]
    rows = pd.concat([rows for rows, _ in played])
    policy = pd.DataFrame([line for _, lines in played for line in lines])
    _write(request.param, rows, policy)
    return request.param, rows, policy


def _write(kind, rows, policy) -> None:
    means = rows.groupby("method")[
        ["crps", "covered_50", "covered_80", "covered_95", "mean"]
    ].mean()
    baseline = means["crps"].drop(["discward", "truth"]).min()
    figures = {
        f"{name}_{column}": value for column in means for name, value in means[column].items()
    }
    line = {
        "date": date.today().isoformat(),
        "kind": kind.value,
        "seed": SEED,
        "fleets": FLEETS,
        "groups": len(rows[rows["method"] == "discward"]),
        "crps_below_best_baseline": 1 - means.loc["discward", "crps"] / baseline,
        "truth_below_best_baseline": 1 - means.loc["truth", "crps"] / baseline,
        "promised": policy["promised"].mean(),
        "achieved": policy["achieved"].mean(),
        "pieces_ratio_to_truth": policy["pieces"].sum() / policy["pieces_truth"].sum(),
        "store_years": policy["years"].sum() / len(TARGETS),
        "achieved_played": policy["achieved_played"].mean(),
        "weeks_in_stock": policy["in_stock"].mean(),
        "weeks_in_stock_truth": policy["in_stock_truth"].mean(),
        "cost_ratio_to_truth": policy["cost"].sum() / policy["cost_truth"].sum(),
    }
    RESULTS.mkdir(exist_ok=True)
    path = RESULTS / f"spares_{kind.name.lower()}.csv"
    pd.DataFrame([line | figures]).round(5).T.to_csv(path, header=["value"], index_label="figure")


def test_intervals_cover_what_they_say(study):
    _, rows, _ = study
    ours = rows[rows["method"] == "discward"]

    assert 0.77 <= ours["covered_80"].mean() <= 0.83
    assert 0.935 <= ours["covered_95"].mean() <= 0.965


def test_forecast_beats_the_best_baseline(study):
    kind, rows, _ = study
    means = rows.groupby("method")["crps"].mean()
    below = 1 - means["discward"] / means.drop(["discward", "truth"]).min()

    least = {Kind.WEAR_AND_TURNAROUNDS: 0.40, Kind.WEAR: 0.15, Kind.NEITHER: -0.03}
    assert below >= least[kind]


def test_policy_keeps_its_promise_at_little_more_cost(study):
    _, _, policy = study

    # By the truth's own distribution, and by store-years played out event by event.
    assert policy["achieved"].mean() == pytest.approx(policy["promised"].mean(), abs=0.01)
    assert policy["achieved_played"].mean() == pytest.approx(policy["promised"].mean(), abs=0.01)
    assert policy["achieved_played"].mean() == pytest.approx(policy["achieved"].mean(), abs=0.004)
    assert policy["pieces"].sum() <= 1.05 * policy["pieces_truth"].sum()
    assert policy["cost"].sum() <= 1.05 * policy["cost_truth"].sum()


def test_covered_share_of_the_truth_is_the_level(study):
    _, rows, _ = study
    truth = rows[rows["method"] == "truth"]

    assert truth["covered_80"].mean() == pytest.approx(0.80, abs=0.03)
    assert covered_share(np.array([1.0]), 0, 0.8) == pytest.approx(0.8)
