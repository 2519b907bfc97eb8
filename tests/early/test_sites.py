"""Sites on equal duty: the same comparison as for crews, whatever the label is called."""

import numpy as np
import pandas as pd
import pytest

from analytics.early.answer import excess_by_crew, excess_by_site
from analytics.findings import FRAMES, Findings
from analytics.survival.unclear_endings import fit_to_lives


@pytest.fixture(scope="module")
def fitted(demo_findings: Findings):
    lives = demo_findings.lives
    return lives, *fit_to_lives(lives, n_draws=60, seed=1)


def test_a_site_named_after_its_crew_is_judged_as_the_crew(fitted):
    lives, fleet, model = fitted
    crews = excess_by_crew(lives, fleet, model)
    sites = excess_by_site(lives.assign(site=lives["crew"]), fleet, model)

    assert list(sites.columns) == FRAMES["sites"].split()
    pd.testing.assert_frame_equal(sites.rename(columns={"site": "crew"}), crews)


def test_a_site_that_only_runs_harder_does_not_stand_out(fitted):
    # Half of the positions by ratio: the raw rates differ, the duty explains it.
    lives, fleet, model = fitted
    hard = lives["operating_ratio"] > lives["operating_ratio"].median()
    split = lives.assign(site=np.where(hard, "hard", "easy"))
    premature = lives["ending"].eq("premature")
    years = lives["age_years"] - lives["entry_years"]
    raw = premature.groupby(hard).sum() / years.groupby(hard).sum()
    ratio = excess_by_site(split, fleet, model).set_index("site")["rate_ratio"]

    assert raw[True] / raw[False] > 1.3
    assert ratio["hard"] / ratio["easy"] == pytest.approx(1, abs=0.1)


def test_a_site_that_fits_badly_stands_out(fitted):
    # All failures of the two worst crews, put at one site with as many lives of the others.
    lives, fleet, model = fitted
    careless = lives["crew"].isin(["Mill 2", "Outage B"])
    rows = excess_by_site(
        lives.assign(site=np.where(careless, "careless", "others")), fleet, model
    ).set_index("site")

    assert rows.loc["careless", "flagged"]
    assert rows.loc["careless", "low"] > 1
    assert not rows.loc["others", "flagged"]


def test_observed_and_expected_add_up_to_the_same(demo_findings: Findings):
    sites = demo_findings.sites

    assert sites["events"].sum() == pytest.approx(sites["expected"].sum())
    assert sites["events"].sum() == pytest.approx(demo_findings.model.failures, abs=1)
