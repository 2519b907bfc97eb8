import numpy as np
import pandas as pd
import pytest
from demand_cases import fleet, upsets

from analytics.errors import NotEstimable
from analytics.ledger import Ledger
from analytics.lives.unclear import UnclearAs
from analytics.logs.reading import read_logs
from analytics.plant import read_plant
from analytics.spares import both_ways
from analytics.spares.both_ways import demand_both_ways
from analytics.spares.demand import forecast_demand
from datasets.reference.valve_seats import write_valve_seat_logs


@pytest.fixture(scope="module")
def plant_with_unclear_endings(tmp_path_factory):
    """The published valve seat log, every other burst with no word on an upset."""
    folder = tmp_path_factory.mktemp("valve-seats")
    write_valve_seat_logs(folder)
    removals = pd.read_csv(folder / "removals.csv", dtype=str)
    removals.loc[removals.index[::2], "reason"] = "burst"
    removals.loc[removals.index[::2], "upset"] = ""
    removals.to_csv(folder / "removals.csv", index=False)
    plant = read_plant(read_logs(folder), None, Ledger(), n_draws=40, seed=3)
    assert (plant.lives["ending"] == "unclear").sum() == 24
    return plant.lives, plant.today, [()] * len(plant.today)


def test_one_by_one_keeps_the_means_of_a_forecast():
    positions, hits = fleet(n=6, draws=20, planned=((30,),) * 6), upsets(20, rate=0.3, n=6)

    tied = forecast_demand(positions, hits).groups[0]
    apart = forecast_demand(positions, hits, one_by_one=True).groups[0]

    np.testing.assert_allclose(apart.mean, tied.mean, atol=6e-3)
    assert apart.pmf[29, 0] < tied.pmf[29, 0]


def test_each_reading_is_the_forecast_of_its_own_fit(plant_with_unclear_endings):
    lives, today, weeks = plant_with_unclear_endings

    found = demand_both_ways(lives, today, weeks, n_draws=40, seed=3)

    assert list(found.columns) == ["store", "disc_code", "mean_all_unclear", "mean_no_unclear"]
    means = found[["mean_all_unclear", "mean_no_unclear"]]
    assert (means > 0).all(axis=None)
    # Half of the bursts are unclear: whether they follow age or come at a constant rate tells.
    assert (means["mean_all_unclear"] / means["mean_no_unclear"] - 1).abs().max() > 0.01


def test_a_reading_without_failures_is_left_blank(plant_with_unclear_endings, monkeypatch):
    lives, today, weeks = plant_with_unclear_endings
    fit = both_ways.fit_to_lives

    def refuse(*arguments, unclear, **options):
        if unclear is UnclearAs.NOT_PREMATURE:
            raise NotEstimable("no failure left")
        return fit(*arguments, unclear=unclear, **options)

    monkeypatch.setattr(both_ways, "fit_to_lives", refuse)
    found = demand_both_ways(lives, today, weeks, n_draws=40, seed=3)

    assert found["mean_all_unclear"].gt(0).all()
    assert found["mean_no_unclear"].isna().all()
