import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.stats import gamma, poisson

from analytics.early.crews_and_lots import FEWEST_EVENTS, ODD, group_rates, stand_out


def rates(events, expected, **options):
    """One life per group carries it all."""
    label = pd.Series([f"g{i:03d}" for i in range(len(events))])
    table = group_rates(label, np.array(events, float), np.array(expected, float), **options)
    return table.set_index("group").sort_index()


def test_expectation_is_scaled_to_the_events_seen():
    table = rates([10, 20, 30], [1, 1, 1])
    assert table["expected"].sum() == pytest.approx(60)


def test_alike_groups_are_drawn_to_one_and_none_is_flagged():
    rng = np.random.default_rng(3)
    table = rates(rng.poisson(10.0, 40), np.full(40, 10.0))
    crude = table["events"] / table["expected"]
    assert table["rate_ratio"].std() < 0.3 * crude.std()
    assert not table["flagged"].any()
    assert ((table["low"] < 1) & (table["high"] > 1)).all()


def test_one_bad_lot_among_many_alike_keeps_its_ratio():
    rng = np.random.default_rng(3)
    table = rates([16, *rng.poisson(2.5, 200)], np.full(201, 2.5), fewest_events=3)
    worst = table.loc["g000"]
    assert worst["rate_ratio"] > 4.5
    assert worst["low"] > 2.5
    assert worst["flagged"]
    assert table["flagged"].sum() == 1


def test_ratio_and_limits_against_quadrature_of_the_two_part_posterior():
    # the spread is found by the groups themselves; equal counts make it the bound, all alike
    events, expected = np.array([10.0] * 30 + [25.0]), np.full(31, 10.0)
    table = rates(events, expected)
    scaled = table.loc["g030", "expected"]
    from analytics.early import crews_and_lots as module

    groups = module._Groups(
        labels=list(table.index),
        events=table["events"].to_numpy(),
        expected=table["expected"].to_numpy(),
    )
    shape = module._spread(groups)

    def density(ratio):
        usual = gamma.pdf(ratio, shape, scale=1 / shape)
        odd = gamma.pdf(ratio, 0.5, scale=2.0)
        return ((1 - ODD) * usual + ODD * odd) * poisson.pmf(25, ratio * scaled)

    edges = [0, 0.5, 0.9, 1.0, 1.1, 1.5, 2, 3, 4, 6, 10]
    spans = list(zip(edges[:-1], edges[1:], strict=True))
    total = sum(quad(density, a, b)[0] for a, b in spans)
    mean = sum(quad(lambda r: r * density(r), a, b)[0] for a, b in spans) / total
    assert table.loc["g030", "rate_ratio"] == pytest.approx(mean, rel=1e-3)
    for limit, part in (("low", 0.025), ("high", 0.975)):
        at = table.loc["g030", limit]
        below = sum(quad(density, a, min(b, at))[0] for a, b in spans if a < at) / total
        assert below == pytest.approx(part, abs=2e-3)


def test_few_events_show_no_ratio_and_no_flag():
    table = rates([FEWEST_EVENTS - 1, 200], [0.01, 200])
    few = table.loc["g000"]
    assert np.isnan(few["rate_ratio"])
    assert np.isnan(few["low"])
    assert not few["flagged"]
    assert "fewer than 5 events" in few["note"]


def test_tail_probability_is_poisson():
    table = rates([20, 10, 10, 8], [12, 12, 12, 12])
    assert table.loc["g000", "p_value"] == pytest.approx(poisson.sf(19, 12.0))


def test_given_evidence_decides_the_flag():
    evidence = pd.Series({"g000": 1.0, "g001": 1e-6})
    table = rates([50, 10], [30, 30], evidence=evidence)
    assert table["flagged"].tolist() == [False, True]


def test_lives_without_a_label_are_left_out():
    label = pd.Series(["A", None, "A", "B"])
    table = group_rates(label, np.ones(4), np.ones(4))
    assert table.set_index("group")["events"].to_dict() == {"A": 2.0, "B": 1.0}


def test_no_groups_at_all():
    assert group_rates(pd.Series([None, None]), np.ones(2), np.ones(2)).empty


def test_step_up_against_its_definition():
    # Benjamini and Hochberg 1995: the largest k with p(k) <= k q / n, and all up to it
    rng = np.random.default_rng(1)
    for _ in range(200):
        p = rng.random(12) ** 3
        ranked = np.sort(p)
        passed = [k for k in range(1, 13) if ranked[k - 1] <= k * 0.05 / 12]
        limit = ranked[passed[-1] - 1] if passed else -1.0
        assert stand_out(p, 0.05).tolist() == (p <= limit).tolist()


def test_unknown_p_values_never_stand_out():
    assert stand_out(np.array([np.nan, 1e-9]), 0.05).tolist() == [False, True]
    assert stand_out(np.array([]), 0.05).tolist() == []
