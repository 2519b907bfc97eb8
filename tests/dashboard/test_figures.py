"""Figures: what is drawn is what was given, empty input says why, nothing is altered."""

from functools import partial

import pandas as pd
import pytest
from sample import empty_findings, sample_findings

from dashboard.cumulative import failures_per_position
from dashboard.figures.demand import demand_figure
from dashboard.figures.duty import duty_figure, quarters_figure
from dashboard.figures.fleet import (
    costs_figure,
    cumulative_figure,
    quality_figure,
    records_figure,
    sites_figure,
    trend_figure,
)
from dashboard.figures.interval import cost_figure, flat_region
from dashboard.figures.life import hazard_figure, life_figure
from dashboard.figures.pressures import operating_pressures, pressures_figure
from dashboard.figures.steps import steps_figure
from dashboard.figures.timeline import timeline_figure
from dashboard.reading import AgeUnit, PressureUnit, Units
from dashboard.theme import ENDINGS, Ink

SAMPLE = sample_findings()
MONTHS, YEARS = Units(), Units(age=AgeUnit.YEARS)
ONE_STORE = SAMPLE.demand_weekly[
    (SAMPLE.demand_weekly["store"] == "ST-N") & (SAMPLE.demand_weekly["disc_code"] == "RS-080-10")
]
CURVE = next(iter(SAMPLE.interval_curves.values()))
EVERY = {
    "life": (lambda frame: life_figure(frame, MONTHS), SAMPLE.life_curve),
    "hazard": (lambda frame: hazard_figure(frame, MONTHS), SAMPLE.hazard_curve),
    "steps": (steps_figure, SAMPLE.installation.defects),
    "duty": (duty_figure, SAMPLE.duty),
    "duty by quarter": (partial(quarters_figure, limit=0.8), SAMPLE.duty_quarters),
    "trend": (trend_figure, SAMPLE.trend),
    "added up": (cumulative_figure, failures_per_position(SAMPLE.lives, SAMPLE.log_begins)),
    "costs": (lambda frame: costs_figure(frame, "EUR"), SAMPLE.costs),
    "quality": (quality_figure, SAMPLE.trend),
    "records": (records_figure, SAMPLE.data_quality),
    "demand": (demand_figure, ONE_STORE),
    "cost curve": (lambda frame: cost_figure(frame, MONTHS, "EUR"), CURVE),
    "sites": (sites_figure, SAMPLE.sites),
    "pressures": (
        lambda frame: pressures_figure(frame, MONTHS),
        operating_pressures(SAMPLE.lives[SAMPLE.lives["position_id"] == "P-003"]),
    ),
    "time line": (timeline_figure, SAMPLE.lives[SAMPLE.lives["position_id"] == "P-003"]),
}


@pytest.mark.parametrize("name", EVERY)
def test_figure_leaves_its_frame_alone_and_names_its_axes(name: str):
    draw, frame = EVERY[name]
    before = frame.copy()
    figure = draw(frame)

    assert frame.equals(before)
    assert len(figure.data) >= 1
    assert figure.layout.xaxis.title.text


@pytest.mark.parametrize("name", EVERY)
def test_nothing_to_show_gives_a_sentence_not_a_blank(name: str):
    draw, frame = EVERY[name]
    figure = draw(frame.iloc[:0])

    assert len(figure.data) == 0
    assert figure.layout.annotations[0].text.endswith(".")


def test_survival_steps_and_never_slopes():
    figure = life_figure(SAMPLE.life_curve, YEARS)
    observed = figure.data[-1]

    assert {trace.line.shape for trace in figure.data} == {"hv"}
    assert list(observed.y) == pytest.approx(list(100 * SAMPLE.life_curve["survival"]))
    assert list(observed.x) == pytest.approx(list(SAMPLE.life_curve["age_years"]))


def test_hazards_differ_by_dash_as_well_as_colour():
    dashes = [trace.line.dash for trace in hazard_figure(SAMPLE.hazard_curve, MONTHS).data]

    assert len(set(dashes)) == len(dashes) == 3


def test_worst_defect_is_on_top():
    figure = steps_figure(SAMPLE.installation.defects)

    assert figure.data[0].y[-1] == "gap uneven"
    assert figure.data[0].x[-1] == SAMPLE.installation.defects["failures_owed"].max()


def test_positions_above_their_limit_get_their_own_mark():
    figure = duty_figure(SAMPLE.duty)
    above = (SAMPLE.duty["operating_ratio"] > SAMPLE.duty["limit"]).sum()

    assert len(figure.data[1].x) == above
    assert figure.data[1].marker.symbol != figure.data[0].marker.symbol


def test_flat_region_is_where_cost_stays_within_2_percent():
    # (age - 20)^2 + 100 has its least, 100, at 20 and 102 at 20 +- sqrt(2).
    ages = pd.Series([10.0, 18.5, 19.0, 20.0, 21.0, 21.5, 30.0])
    curve = pd.DataFrame({"age_months": ages, "cost_per_year": (ages - 20) ** 2 + 100})

    assert flat_region(curve) == (19.0, 21.0)


def test_stock_runs_over_demand_as_a_dashed_step():
    stock = demand_figure(ONE_STORE).data[-1]

    assert stock.line.dash == "dash"
    assert list(stock.y) == list(ONE_STORE["stock"])


def test_trend_limits_are_drawn_where_they_are():
    fleet = SAMPLE.trend[SAMPLE.trend["site"] == "all"]
    bars = trend_figure(fleet).data[0].error_y

    assert list(bars.array) == pytest.approx(list(fleet["high"] - fleet["rate"]))
    assert list(bars.arrayminus) == pytest.approx(list(fleet["rate"] - fleet["low"]))


def test_bars_stack_to_the_years_cost():
    figure = costs_figure(SAMPLE.costs, "EUR")
    owed, other, planned = (trace.y for trace in figure.data)

    assert list(owed + other) == pytest.approx(list(SAMPLE.costs["premature_cost"]))
    assert list(planned) == list(SAMPLE.costs["planned_cost"])


def test_a_logged_text_never_becomes_markup():
    duty = SAMPLE.duty.head(1).assign(family="<a href='http://192.0.2.1'>x</a>", position_id="<b>")
    drawn = duty_figure(duty).to_json()

    assert "<a" not in drawn
    assert "<b>" not in drawn


def test_time_line_draws_each_ending_with_its_own_mark():
    lives = SAMPLE.lives[SAMPLE.lives["position_id"] == "P-003"]
    named = {trace.name: trace.marker.symbol for trace in timeline_figure(lives).data if trace.name}

    assert named == {ENDINGS[kind].label: ENDINGS[kind].symbol for kind in set(lives["ending"])}


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2, definition of contrast ratio."""
    parts = [int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return sum(w * v for w, v in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("ground", ["#ffffff", "#1c2226"])
@pytest.mark.parametrize("name", [name for name in vars(Ink) if name.isupper()])
def test_every_ink_stands_out_on_both_grounds(name: str, ground: str):
    # WCAG 2.2, success criterion 1.4.11: 3:1 for graphical objects.
    light, dark = sorted((luminance(getattr(Ink, name)), luminance(ground)), reverse=True)

    assert (light + 0.05) / (dark + 0.05) >= 3.0


def test_endings_differ_in_mark():
    symbols = [look.symbol for look in ENDINGS.values()]

    assert len(set(symbols)) == len(symbols)


def test_empty_findings_draw_everywhere():
    bare = empty_findings()

    assert life_figure(bare.life_curve, MONTHS).layout.annotations


def test_failures_add_up_to_failures_over_positions_when_all_are_watched():
    # Two positions watched for two years; three failures: at the end 3 / 2 per position.
    days = pd.to_datetime(["2020-06-10", "2021-03-10", "2022-01-01", "2020-09-10", "2022-01-01"])
    lives = pd.DataFrame(
        {
            "position_id": ["A", "A", "A", "B", "B"],
            "ending": ["premature", "premature", "in_service", "premature", "in_service"],
            "observed_from": pd.to_datetime("2020-01-01"),
            "ended_on": days,
        }
    )
    curve = failures_per_position(lives, pd.Timestamp("2020-01-01").date())

    assert curve["mean"].tolist() == pytest.approx([0.5, 1.0, 1.5])
    assert curve["positions"].tolist() == [2, 2, 2]
    assert (curve["low"] <= curve["mean"]).all()


def test_sites_without_a_ratio_are_not_drawn_and_one_is_marked():
    figure = sites_figure(SAMPLE.sites)

    assert list(figure.data[0].y) == ["Millbank", "Northwater"]
    assert list(figure.data[0].x) == [0.75, 1.26]
    assert figure.layout.shapes[0].x0 == 1


def test_operating_pressure_is_the_ratio_of_the_least_burst_pressure_over_the_back_pressure():
    # 0.9 of 10 bar across the disc, 2 barg behind it: 11 barg before it, and it opens from 12.
    lives = pd.DataFrame(
        {"operating_ratio": [0.9], "minimum_burst_bar": [10.0], "back_pressure_barg": [2.0]}
    )
    lived = operating_pressures(lives)

    assert lived["operating_pressure_barg"].item() == pytest.approx(11.0)
    assert lived["minimum_burst_barg"].item() == pytest.approx(12.0)


def test_pressures_follow_the_reader_and_tell_nominal_from_seen():
    # NIST SP 811, B.8: 1 psi = 6.894757 kPa, so 14.50377 psi to the bar.
    life = SAMPLE.lives.iloc[[0]].assign(
        operating_ratio=0.5, minimum_burst_bar=2.0, back_pressure_barg=0.0, pressure_basis="nominal"
    )
    figure = pressures_figure(operating_pressures(life), Units(pressure=PressureUnit.PSI))
    least, operating = figure.data[:2]

    assert operating.y[0] == pytest.approx(14.50377, abs=1e-5)
    assert least.y[0] == pytest.approx(2 * 14.50377, abs=1e-5)
    assert operating.line.dash == "dot"
    assert "positions table" in operating.name


def test_quarters_tell_what_was_seen_from_what_is_nominal():
    drawn = quarters_figure(SAMPLE.duty_quarters, 0.8)
    seen, nominal = drawn.data

    assert [value for value in seen.y if value is not None] == pytest.approx(
        [64, 64, 65, 65, 78, 78]
    )
    assert (seen.line.dash, nominal.line.dash) == ("solid", "dot")
    assert drawn.layout.shapes[0].y0 == 80
    assert not quarters_figure(SAMPLE.duty_quarters, float("nan")).layout.shapes


def test_many_positions_are_gathered_without_losing_one():
    many = pd.concat([SAMPLE.duty] * (1 + 3_000 // len(SAMPLE.duty)), ignore_index=True)
    within, above = duty_figure(many).data[:2]
    told = [int(what.split()[0].replace(",", "")) for what, _ in within.customdata]
    over = [int(what.split()[0].replace(",", "")) for what, _ in above.customdata]

    assert sum(told) + sum(over) == len(many.dropna(subset=["operating_ratio"]))
    assert sum(over) == (many["operating_ratio"] > many["limit"]).sum()
    assert len(told) + len(over) < 1_000
    assert f"({sum(over)})" in above.name
