"""Marks that the position, or the lot, contradicts; hand-made ones in test_rivals_and_advice."""

from pathlib import Path

from analytics.early.marked_pressures import marked_pressures
from analytics.logs.reading import read_logs


def test_the_marks_of_the_demo_tell_its_wrong_discs_and_no_other(demo_logs: Path):
    tables = read_logs(demo_logs).tables
    installs = tables["installs"]

    marks = marked_pressures(installs, tables)

    # Half a percent for marks rounded when they were logged.
    outside = (marks["mark_barg"] < 0.995 * marks["asked_low"]) | (
        marks["mark_barg"] > 1.005 * marks["asked_high"]
    )
    wrong = installs["disc_code"].ne(marks["asked_code"])
    assert wrong.sum() > 5
    assert (
        installs.loc[outside, "install_id"].tolist() == installs.loc[wrong, "install_id"].tolist()
    )
