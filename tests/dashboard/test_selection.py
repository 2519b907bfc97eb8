"""Filters: what the address says is what is kept, and nothing else."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sample import empty_findings, sample_findings

from dashboard.narrowing import narrow
from dashboard.reading import AgeUnit, PressureUnit, Units
from dashboard.selection import CHOICES, Selection, from_search, to_search
from dashboard.selection_form import from_controls

SAMPLE = sample_findings()

words = st.lists(st.text(min_size=1, max_size=12), max_size=3, unique=True).map(tuple)
years = st.none() | st.integers(1900, 2199)
selections = st.builds(
    Selection,
    words=st.dictionaries(st.sampled_from(list(CHOICES)), words.filter(bool)),
    first_year=years,
    last_year=years,
    units=st.builds(Units, pressure=st.sampled_from(PressureUnit), age=st.sampled_from(AgeUnit)),
)


@given(selections)
def test_an_address_carries_a_selection_there_and_back(selection: Selection):
    assert from_search(to_search(selection)) == selection


@given(st.text(max_size=200))
def test_any_address_is_read_without_complaint(search: str):
    assert isinstance(from_search(search), Selection)


@pytest.mark.parametrize("search", ["?from=20x5", "?to=99999", "?from=", "?pressure=mile", "?a=b"])
def test_what_it_does_not_know_it_leaves_out(search: str):
    assert from_search(search) == Selection()


def test_controls_read_back_as_they_were_set():
    names = [{"filter": "site"}, {"filter": "crew"}, {"filter": "from"}, {"filter": "pressure"}]
    read = from_controls(names, [["Millbank"], None, "2020", "psi"])

    assert to_search(read) == "?site=Millbank&from=2020&pressure=psi"


def test_everything_is_kept_when_nothing_is_chosen():
    assert narrow(SAMPLE, Selection()) is SAMPLE


def test_a_site_narrows_every_frame_that_has_places():
    kept = narrow(SAMPLE, Selection(words={"site": ("Millbank",)}))
    positions = set(SAMPLE.lives.loc[SAMPLE.lives["site"] == "Millbank", "position_id"])

    assert set(kept.lives["site"]) == {"Millbank"}
    assert set(kept.duty["position_id"]) == positions
    assert set(kept.intervals["position_id"]) == positions
    assert set(kept.installation.failures["site"]) == {"Millbank"}
    assert set(kept.spares["store"]) == {"ST-M"}
    assert kept.endings["premature"] == len(kept.installation.failures)


def test_rates_are_counted_anew_for_what_is_kept():
    kept = narrow(SAMPLE, Selection(words={"family": ("graphite",)}))
    graphite = SAMPLE.lives[SAMPLE.lives["family"] == "graphite"]
    fleet = kept.trend[kept.trend["site"] == "all"]

    assert fleet["premature"].sum() == (graphite["ending"] == "premature").sum()
    watched = (graphite["ended_on"] - graphite["observed_from"]).dt.days.sum() / 365.25
    assert fleet["disc_years"].sum() == pytest.approx(watched, rel=1e-6)


def test_a_chosen_ending_does_not_bend_the_rate():
    whole = narrow(SAMPLE, Selection(words={"ending": ("premature",)}))

    assert set(whole.lives["ending"]) == {"premature"}
    assert whole.trend.equals(SAMPLE.trend)


def test_years_are_inclusive():
    kept = narrow(SAMPLE, Selection(first_year=2019, last_year=2020))

    assert set(kept.lives["ended_on"].dt.year) == {2019, 2020}
    assert set(kept.costs["year"]) == {2019, 2020}


@pytest.mark.parametrize("findings", [SAMPLE, empty_findings()], ids=["full", "empty"])
def test_an_unknown_word_keeps_nothing_and_breaks_nothing(findings: object):
    kept = narrow(findings, Selection(words={"site": ("nowhere",)}))

    assert kept.lives.empty
    assert kept.spares.empty
    assert kept.trend.empty


def test_narrowing_leaves_the_findings_as_they_were():
    before = SAMPLE.lives.copy()
    narrow(SAMPLE, Selection(words={"crew": ("crew A",)}, first_year=2020))

    assert SAMPLE.lives.equals(before)
