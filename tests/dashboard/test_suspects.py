"""What is said of a suspect lot, to the storeroom, on the pages, in the report and as JSON."""

import json
from dataclasses import replace

import pandas as pd
from sample import sample_findings

from analytics.findings import empty_frame
from analytics.findings_json import findings_json
from dashboard.report import report_html
from dashboard.suspects import lot_sentences, suspect_lots

SAMPLE = sample_findings()
UNSUSPECT = replace(
    SAMPLE, lots=SAMPLE.lots.assign(suspect=False), lot_places=empty_frame("lot_places")
)


def test_a_suspect_lot_is_told_with_what_to_set_aside_and_where_it_sits():
    first, alarm = lot_sentences(SAMPLE)
    assert first.startswith("Lot L03 is suspect: 9 premature failures where duty and fitting exp")
    assert "Take 4 pieces of lot L03 out of the bins today, tag them HOLD" in first
    assert "4 at ST-N (RS-080-10)" in first
    assert "It sits at P-003 and P-012" in first
    assert "What else could explain it: 4 of its 9 failures share crew crew B." in first
    assert alarm.startswith("Less than one such alarm in ten years")


def test_a_lot_nobody_holds_any_more_says_so():
    used_up = replace(SAMPLE, lot_places=empty_frame("lot_places"))
    first, _ = lot_sentences(used_up)
    assert "No piece of lot L03 is in stock. No position holds a disc of it." in first


def test_without_a_suspect_nothing_is_said():
    assert suspect_lots(UNSUSPECT).empty
    assert lot_sentences(UNSUSPECT) == []
    assert lot_sentences(replace(SAMPLE, lots=pd.DataFrame())) == []


def test_the_report_lists_every_place():
    report = report_html(SAMPLE)
    assert "Set aside: every bin and position that holds a suspect lot" in report
    assert "P-012" in report.split("Set aside: every bin")[1]
    assert "tag them HOLD" not in report_html(UNSUSPECT)


def test_the_json_gives_positions_and_bins():
    found = json.loads(findings_json(replace(SAMPLE, installation=None)))
    (lot,) = [lot for lot in found["lots"] if lot["suspect"]]
    assert (lot["positions"], lot["bins"]) == (["P-003", "P-012"], ["ST-N"])
    assert lot["pieces_in_stock"] == 4
    assert [place["position_id"] for place in found["suspect_lot_places"]] == ["", "P-003", "P-012"]
