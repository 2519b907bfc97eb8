import itertools

import numpy as np
import pytest

from analytics.spares.network import Method, Site, place_pieces, site_pipeline, site_service


def three_bases() -> list[Site]:
    return [
        Site(name=name, demand=20, shipping_years=0.02, local_share=0.2, local_years=0.01)
        for name in ("a", "b", "c")
    ]


@pytest.mark.parametrize(
    ("central", "mean", "variance", "metric", "vari", "exact", "fill"),
    [
        # Three equal bases, 20 a year each, 20 % repaired locally in 0.01 year, order and ship
        # 0.02 year, central 0.05 year, base level 2. METRIC: Sherbrooke (1968); negative
        # binomial: Graves (1985); exact thinning: Simon (1971). The parameters are no printed
        # table's; values by an independent program and, for 1 and 3, by event simulation.
        (0, 1.16, 1.16, 0.1506163316, 0.1506163316, 0.1506163316, 0.6771301507),
        (1, 0.8569059844, 0.9187197708, 0.0695865238, 0.0806836953, 0.0805003858, 0.7850110142),
        (3, 0.4829559137, 0.5170056039, 0.0148330003, 0.0200067969, 0.0202157610, 0.9105773882),
        (6, 0.3653498503, 0.3666307952, 0.0067934345, 0.0069562412, 0.0069784613, 0.9472714585),
    ],
)
def test_three_equal_bases(central, mean, variance, metric, vari, exact, fill):
    sites = three_bases()
    pipeline = site_pipeline(sites, 0, 0.05, central)
    counts = np.arange(len(pipeline))

    assert pipeline @ counts == pytest.approx(mean, abs=1e-8)
    assert pipeline @ counts**2 - (pipeline @ counts) ** 2 == pytest.approx(variance, abs=1e-8)
    for method, owed in [
        (Method.METRIC, metric),
        (Method.VARI_METRIC, vari),
        (Method.EXACT, exact),
    ]:
        found = site_service(sites, [2, 2, 2], 0.05, central, method)
        assert found[0].backorders == pytest.approx(owed, abs=1e-8)
    assert site_service(sites, [2, 2, 2], 0.05, central)[0].fill_rate == pytest.approx(
        fill, abs=1e-8
    )


def test_exact_law_is_that_of_a_played_out_network():
    # Independent route: order by order. A site's order goes out as soon as the central store has
    # a piece for it, first come first served, and arrives a shipping time later.
    rng = np.random.default_rng(7)
    rates, shipping, central_years, central = np.array([6.0, 2.0]), 0.1, 0.5, 2
    years = 60_000.0
    times = np.sort(rng.uniform(0, years, rng.poisson(rates.sum() * years)))
    site = rng.random(times.size) < rates[1] / rates.sum()
    # The n-th order is filled by the piece that the (n - central)-th order set under way.
    back = np.concatenate([np.full(central, -np.inf), times[:-central] + central_years])
    arrives = np.maximum(times, back) + shipping
    mine, landed = times[site], np.sort(arrives[site])
    look = rng.uniform(10, years - 10, 400_000)
    waiting = np.searchsorted(mine, look) - np.searchsorted(landed, look)
    played = np.bincount(waiting) / look.size

    sites = [
        Site(name="big", demand=6.0, shipping_years=shipping),
        Site(name="small", demand=2.0, shipping_years=shipping),
    ]
    computed = site_pipeline(sites, 1, central_years, central)[: played.size]

    np.testing.assert_allclose(played, computed, atol=5e-3)


def test_best_places_are_the_best_of_all():
    sites = [
        Site(name="near", demand=8.0, shipping_years=0.02),
        Site(name="far", demand=3.0, shipping_years=0.15),
    ]

    table = place_pieces(sites, 0.25, 6)

    for row in table.to_dict("records"):
        best = min(
            sum(
                m.backorders for m in site_service(sites, levels, 0.25, row["pieces"] - sum(levels))
            )
            for levels in itertools.product(range(row["pieces"] + 1), repeat=2)
            if sum(levels) <= row["pieces"]
        )
        assert row["backorders"] == pytest.approx(best, abs=1e-9)
        assert row["central"] + row["near"] + row["far"] == row["pieces"]
    assert (np.diff(table["backorders"]) <= 1e-12).all()


def test_a_site_without_demand_waits_for_nothing():
    sites = [
        Site(name="busy", demand=4.0, shipping_years=0.1),
        Site(name="idle", demand=0.0, shipping_years=0.1),
    ]

    assert site_pipeline(sites, 1, 0.3, 1)[0] == pytest.approx(1.0)
    assert place_pieces(sites, 0.3, 3)["idle"].tolist() == [0, 0, 0, 0]
