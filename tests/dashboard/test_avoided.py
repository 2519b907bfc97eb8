"""What would have been avoided, as it is said and drawn."""

from dataclasses import replace

import numpy as np
import pytest
from sample import empty_findings, sample_findings

from dashboard.avoided import avoided_answer, fitting_sentence, steps_worth
from dashboard.figures.avoided import avoided_figure, fitting_figure

SAMPLE = sample_findings()
FAILURES = SAMPLE.model.failures


def changed(change, **values):
    """The sample with one change's row altered."""
    table = SAMPLE.what_if.copy()
    for name, value in values.items():
        table.loc[table["change"] == change, name] = value
    return replace(SAMPLE, what_if=table)


def test_the_clean_fleet_comes_first_with_limits_years_money_and_both_readings():
    said = avoided_answer(SAMPLE)[0]
    assert said.startswith("Had every disc been fitted clean, ")
    assert f"of {FAILURES} premature failures would have been avoided over the log" in said
    assert "(29 % [24 % to 34 %])" in said
    assert "a year, worth 928,000 EUR [768,000 EUR to 1,090,000 EUR]." in said
    assert "With every unclear ending premature it is" in said


def test_the_step_the_practice_and_the_ratio_follow():
    _, step, practice, ratio = avoided_answer(SAMPLE)
    assert step.startswith("The one step most worth mending is “gap uneven”: ")
    assert practice.startswith("Had every crew fitted as the best quarter does by its records, ")
    assert "lowered at the 10 hardest positions, to 0.74 (reverse scored), " in ratio


def test_no_effect_shown_is_said_with_its_bound():
    said = avoided_answer(changed("clean", avoided_low=-2.0))[0]
    assert said.startswith("It is not shown that clean fitting would have avoided any")
    assert "at most" in said


def test_no_step_is_named_when_none_is_shown():
    table = SAMPLE.what_if.assign(avoided_low=-1.0)
    assert not any("step" in said for said in avoided_answer(replace(SAMPLE, what_if=table)))


@pytest.mark.parametrize(
    ("change", "said"),
    [("best practice", "the best crews' practice"), ("ratio", "a lower operating ratio")],
)
def test_what_cannot_be_asked_is_said_with_its_reason(change, said):
    found = changed(change, avoided=np.nan, note="too few crews")
    assert f"What {said} would avoid cannot be said: too few crews." in avoided_answer(found)


def test_failures_without_a_cost_are_counted():
    said = avoided_answer(changed("clean", not_priced=3.0))[0]
    assert "; 3 more have no cost on record" in said
    assert "worth" not in avoided_answer(changed("clean", money=0.0))[0]


def test_nothing_to_say_carries_its_reason():
    (said,) = avoided_answer(empty_findings())
    assert said.endswith("what would have been avoided: no premature failure is on record.")
    assert steps_worth(empty_findings()) == ""
    assert fitting_sentence(empty_findings()) == ""


def test_the_costliest_step_is_given_a_year_and_in_money():
    assert steps_worth(SAMPLE).startswith("“gap uneven” carries ")
    assert "failures a year, worth 288,000 EUR [160,000 EUR to 448,000 EUR] in all." in (
        steps_worth(SAMPLE)
    )


def test_the_years_of_fitting_are_compared_first_and_last_whole_year():
    said = fitting_sentence(SAMPLE)
    assert "100 discs fitted in 2024" in said
    assert said.endswith("in 2017.")


def test_the_figure_keeps_steps_and_fleet_changes_apart():
    steps, whole = avoided_figure(SAMPLE.what_if).data
    assert steps.marker.symbol != whole.marker.symbol
    assert len(steps.x) == 3
    assert list(whole.x) == SAMPLE.what_if["avoided"][:3][::-1].tolist()
    gap = SAMPLE.what_if.loc[3]
    assert steps.error_x.array[-1] == pytest.approx(gap["avoided_high"] - gap["avoided"])


def test_a_change_without_a_number_is_not_drawn():
    assert len(avoided_figure(changed("ratio", avoided=np.nan).what_if).data[1].x) == 2


def test_fitting_is_drawn_by_year_only():
    (years,) = fitting_figure(SAMPLE.fitting).data
    assert list(years.x) == list(range(2017, 2026))


def test_figures_without_rows_say_so():
    for drawn in (avoided_figure(SAMPLE.what_if[:0]), fitting_figure(SAMPLE.fitting[:0])):
        assert len(drawn.data) == 0
        assert drawn.layout.annotations
