"""The whole job against the demo's truth, against a published log, and on too little."""

import json
from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.early.rivals import RIVALS, Verdict
from analytics.errors import InputError
from analytics.estimate import Estimate
from analytics.findings import Findings
from analytics.findings_json import findings_json
from analytics.job import run
from datasets.demo import demo_truth
from datasets.reference.valve_seats import write_valve_seat_logs

TORQUE = {"torque_not_low": "torque_low", "torque_not_high": "torque_high"}


def inside(found: Estimate, truth: float) -> bool:
    return found.low <= truth <= found.high


def test_demo_recovers_the_share_owed_to_the_installation(demo_findings: Findings):
    truth = demo_truth().share_owed

    share = demo_findings.installation.share_of_premature

    assert share.estimate == pytest.approx(truth, abs=0.05)
    assert inside(share, truth)


def test_demo_recovers_exponents_shapes_and_defect_effects(demo_findings: Findings):
    truth = demo_truth().parameters
    wear, early = demo_findings.wear, demo_findings.installation
    covered = {
        "ratio exponent": inside(wear.ratio_exponent, truth.ratio_exponent),
        "cycle exponent": inside(wear.cycle_exponent, truth.cycle_exponent),
        "wear shape": inside(wear.shape, truth.wear_shape),
        "installation shape": inside(early.shape, truth.install_shape),
    }
    for row in early.defects.dropna(subset="log_effect").itertuples():
        effect = truth.defect_effects[TORQUE.get(row.check, row.check)]
        covered[row.check] = row.log_effect_low <= effect <= row.log_effect_high

    missed = [name for name, ok in covered.items() if not ok]
    # Of some seventeen 95 % limits one is expected to miss now and then; coverage over
    # many demos is counted in tests/studies/test_demo_recovery.py.
    assert len(covered) >= 17
    assert len(missed) <= 1, missed
    assert not set(missed) & {"ratio exponent", "cycle exponent", "wear shape"}


def test_demo_finds_the_bad_lot_and_the_careless_crews(demo_findings: Findings):
    lots, crews = demo_findings.lots, demo_findings.crews

    assert lots.loc[lots["flagged"], "lot"].tolist() == [demo_truth().bad_lot]
    assert set(crews.loc[crews["flagged"], "crew"]) == {"Mill 2", "Outage B"}


def test_unclear_endings_bracket_nothing_away(demo_findings: Findings):
    early = demo_findings.installation

    assert early.share_all_unclear is not None
    assert early.share_no_unclear is not None
    assert demo_findings.endings["unclear"] > 0


def test_every_row_read_is_accepted_or_set_aside(demo_findings: Findings):
    rows = demo_findings.rows

    assert (rows["read"] == rows["accepted"] + rows["quarantined"]).all()
    assert rows["quarantined"].sum() > 0
    assert demo_findings.quarantine["reason"].ne("").all()
    assert demo_findings.quarantine["mend"].ne("").all()


def test_failures_owed_add_up(demo_findings: Findings):
    early = demo_findings.installation

    total = early.defects["failures_owed"].sum()
    assert total == pytest.approx(early.failures_owed.estimate, rel=0.02)
    assert early.failures["share"].between(-0.2, 1).all()


def test_same_logs_same_findings(demo_logs: Path, demo_findings: Findings):
    again = run(demo_logs)

    assert findings_json(again) == findings_json(demo_findings)


def test_findings_as_json_have_the_promised_keys(demo_findings: Findings):
    found = json.loads(findings_json(demo_findings))

    for key in [
        "export_date",
        "rows",
        "lives",
        "endings",
        "model",
        "installation",
        "wear",
        "crews",
        "lots",
        "spares",
        "intervals",
        "dangerous",
        "trend",
        "cautions",
        "not_answered",
    ]:
        assert key in found, key
    assert found["export_date"] == "2026-09-30"
    assert set(found["rows"]["installs"]) == {"read", "accepted", "quarantined"}
    assert set(found["installation"]["defects"][0]["failures_owed"]) == {"estimate", "low", "high"}
    assert all(set(row) >= {"store", "disc_code", "order_by"} for row in found["spares"])


def test_findings_as_json_name_every_rival_of_every_failure(demo_findings: Findings):
    rivals = json.loads(findings_json(demo_findings))["installation"]["rivals"]

    failed = set(demo_findings.lives.query("ending == 'premature'")["life_id"])
    assert {row["life_id"] for row in rivals} == failed
    assert Counter(row["rival"] for row in rivals) == dict.fromkeys(RIVALS, len(failed))
    assert {row["verdict"] for row in rivals} == {verdict.value for verdict in Verdict}
    assert all(row["evidence"] and row["settles"] == RIVALS[row["rival"]][0] for row in rivals)


def test_no_premature_disc_of_the_demo_is_called_wrong_by_its_mark(demo_findings: Findings):
    # The demo's wrong discs are taken out as such, so a mark that spoke here would speak falsely.
    rivals = demo_findings.installation.rivals.query("rival == 'the wrong disc'")

    assert not rivals["evidence"].str.contains("where the position asks today for").any()


def test_published_valve_seat_log_is_answered_as_far_as_it_goes(tmp_path: Path):
    # W. Nelson and N. Doganaksoy's valve seats: 41 engines, 48 replacements; counts as published.
    write_valve_seat_logs(tmp_path)

    found = run(tmp_path)

    assert found.endings == {"premature": 48, "in_service": 41}
    assert found.model.failures == 48
    assert found.installation is None
    assert "install" in found.not_answered["installation"]
    assert "effect of: operating ratio" in found.not_answered
    (row,) = found.spares.to_dict("records")
    # 48 replacements in the 25 000 engine-days before are a rate of about 0.7 a year and engine.
    assert 15 < row["mean"] < 45
    assert row["planned"] == 0


def write(folder: Path, **tables: list[dict]) -> Path:
    for name, rows in tables.items():
        pd.DataFrame(rows).to_csv(folder / f"{name}.csv", index=False)
    return folder


POSITION = {"position_id": "P1", "site": "S", "disc_code": "D1", "store": "main"}
DISC = {"disc_code": "D1", "family": "composite"}
INSTALL = {
    "install_id": "I1",
    "position_id": "P1",
    "installed_on": "2020-01-01",
    "disc_code": "D1",
}


def test_one_position_without_a_failure_gets_no_made_up_curve(tmp_path: Path):
    folder = write(tmp_path, positions=[POSITION], discs=[DISC], installs=[INSTALL])
    (folder / "logs.toml").write_text("export_date = 2022-01-01\nlog_begins = 2020-01-01\n")

    found = run(folder)

    assert found.model is None
    assert found.installation is None
    assert "life model" in found.not_answered
    assert found.spares.empty
    assert found.dangerous_bound.estimate == 0
    assert found.dangerous_bound.high == pytest.approx(-np.log(0.05) / 2.0, rel=0.01)


def test_an_empty_folder_is_refused_in_one_line(tmp_path: Path):
    with pytest.raises(InputError) as refused:
        run(tmp_path)
    assert "\n" not in str(refused.value)


def test_a_log_without_dates_is_refused(tmp_path: Path):
    folder = write(
        tmp_path, positions=[POSITION], discs=[DISC], installs=[INSTALL | {"installed_on": ""}]
    )

    with pytest.raises(InputError, match="date"):
        run(folder)


def test_when_every_position_is_set_aside_one_line_says_so(tmp_path: Path):
    capped = POSITION | {"cap_interval_months": 0}
    folder = write(tmp_path, positions=[capped], discs=[DISC], installs=[INSTALL])

    with pytest.raises(InputError, match="no (disc life|install)"):
        run(folder)


def test_duty_by_quarter_covers_every_installed_disc_and_changes_enter_the_fit(
    demo_findings: Findings,
):
    quarters, wear = demo_findings.duty_quarters, demo_findings.wear
    lengths = quarters.groupby("install_id")[["from_years", "to_years"]].agg(["min", "max"])
    lives = demo_findings.lives.set_index("life_id")
    in_service = lives[lives["ending"].eq("in_service") & lives["install_id"].notna()]

    assert set(quarters["pressure_basis"]) == {"history", "nominal"}
    assert (lengths[("from_years", "min")] == 0).all()
    ages = lengths[("to_years", "max")].reindex(in_service.index)
    np.testing.assert_allclose(ages, in_service["age_years"], atol=1.5 / 365.25)
    assert wear.changed_duty is not None
    assert wear.changed_duty.lives >= 1
    assert json.loads(findings_json(demo_findings))["wear"]["changed_duty"]["lives"] >= 1
