"""The words on change: numbers and limits first, then the verdict they carry."""

from dataclasses import replace

import pandas as pd
import pytest
from sample import empty_findings, sample_findings

from dashboard.figures.watching import MOST_LINES, watch_figure
from dashboard.watch_sentences import (
    programme_sentences,
    record_next_sentences,
    watch_sentences,
)

SAMPLE = sample_findings()


def with_signals(**changes):
    return replace(SAMPLE, watch=SAMPLE.watch.assign(**changes))


def test_a_change_is_told_with_numbers_limits_and_dates():
    first, second, *_ = watch_sentences(SAMPLE)

    assert first.startswith(
        "Defects found: 18 since 2022-11-30, 35 expected, 0.51 [0.3 to 0.81] times as many;"
    )
    assert "fell, seen on 2023-08-11" in first
    assert second.startswith("Installation failures at site Millbank: 21 since")
    assert "it is the fitting, not the duty" in second


def test_when_wear_changed_too_duty_is_named():
    said = watch_sentences(with_signals(other_observed=30.0, wear_too=True))

    assert any("look at the duty as well" in sentence for sentence in said)


def test_a_change_that_is_over_is_not_told_as_one_that_holds():
    said = watch_sentences(with_signals(still=False))

    assert said[0] == "None of 3 charts shows a change that still holds."
    assert said[1] == "2 changes seen earlier no longer hold."


def test_false_alarms_and_delays_are_stated():
    assert "at most once in 10 years" in watch_sentences(SAMPLE)[-1]
    assert "defects found after 9" in watch_sentences(SAMPLE)[-1]
    assert "1 chart would need more than ten years" in watch_sentences(SAMPLE)[-1]


def test_without_charts_the_reason_is_given():
    found = replace(empty_findings(), not_answered={"watching": "no check was recorded"})

    assert watch_sentences(found) == [
        "The quality of installation could not be watched: no check was recorded."
    ]


def test_programme_verdicts_follow_their_limits():
    (told,) = programme_sentences(SAMPLE)

    assert "installation failures since are 0.61 [0.31 to 1.1] times those before" in told
    assert "outside it: no change is shown" in told
    assert "0.61 [0.31 to 0.92] times those before against those outside it: fewer" in told


def test_record_next_gives_both_limits():
    first = record_next_sentences(SAMPLE)[0]

    assert "“gap uneven”" in first
    assert "[10 to 18] instead of [8 to 21]" in first


def test_figure_draws_the_difference_and_marks_both_days():
    drawn = watch_figure(SAMPLE.watch_path, SAMPLE.watch, "failures", "failures")

    lines = [trace for trace in drawn.data if trace.mode == "lines"]
    marks = [trace for trace in drawn.data if trace.mode == "markers"]
    assert [trace.name for trace in lines] == ["all", "site Millbank"]
    path = SAMPLE.watch_path
    own = path[(path["chart"] == "failures") & (path["kind"] == "all")]
    assert list(lines[0].y) == own["difference"].tolist()
    assert list(marks[0].x) == [pd.Timestamp("2022-11-30"), pd.Timestamp("2023-08-11")]
    assert list(marks[0].marker.symbol) == ["circle-open", "triangle-up"]


def test_figure_of_nothing_says_so_and_of_many_draws_few():
    empty = empty_findings()
    bare = watch_figure(empty.watch_path, empty.watch, "failures", "failures")
    assert bare.layout.annotations

    line = SAMPLE.watch_path[SAMPLE.watch_path["group"] == "Millbank"]
    many = pd.concat([line.assign(group=f"S{i}") for i in range(9)])
    drawn = watch_figure(many, empty.watch, "failures", "failures")
    assert len(drawn.data) == MOST_LINES


@pytest.mark.parametrize("nasty", ["<b>x</b>", "a & b"])
def test_names_are_shown_word_for_word(nasty):
    path = SAMPLE.watch_path.replace("Millbank", nasty)
    drawn = watch_figure(path, SAMPLE.watch.replace("Millbank", nasty), "failures", "failures")

    assert "<b>" not in drawn.data[1].name
