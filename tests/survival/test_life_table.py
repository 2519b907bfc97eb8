import json

import numpy as np
import pandas as pd
import pytest

from analytics.errors import InputError, NotEstimable
from analytics.survival.law import Family
from analytics.survival.life_table import family_named, life_findings, read_life_table
from datasets.reference import path

NIST = "lower,upper\n" + "".join(
    f"{t},{t}\n" for t in (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)
)
NIST += "500,\n" * 10


def test_nist_example_under_plain_names():
    # NIST/SEMATECH e-Handbook 8.2.2.1: scale 606.5280, shape 1.7208; limits R 4.2.2.
    found = json.loads(json.dumps(life_findings(read_life_table(NIST), Family.WEIBULL)))
    scale, shape = found["parameters"]["scale"], found["parameters"]["shape"]

    assert (found["family"], found["n"], found["events"]) == ("weibull", 20, 10)
    assert found["log_likelihood"] == pytest.approx(-75.1346182, rel=1e-8)
    assert scale["estimate"] == pytest.approx(606.52756, rel=1e-6)
    assert shape["wald"] == pytest.approx([0.9712661, 3.048746], rel=1e-6)
    assert shape["likelihood_ratio"] == pytest.approx([0.9056454, 2.885738], rel=1e-6)
    assert found["b10"]["wald"] == pytest.approx([83.87513, 320.7549], rel=1e-6)
    # SE(log eta) 0.2059439, SE(log beta) 0.2918128, their covariance -0.0271278.
    assert scale["se_log"] == pytest.approx(0.2059439, rel=1e-6)
    assert shape["se_log"] == pytest.approx(0.2918128, rel=1e-6)
    assert found["log_covariance"][0][1] == pytest.approx(-0.0271278, rel=1e-5)
    assert np.sqrt(np.diag(found["covariance"])) == pytest.approx([scale["se"], shape["se"]])
    assert found["warnings"] == []
    assert found["quantiles"]["b10"] == found["b10"]


@pytest.mark.parametrize(
    ("family", "names"),
    [
        ("weibull", ["scale", "shape"]),
        ("lognormal", ["location", "sigma"]),
        ("loglogistic", ["location", "sigma"]),
        ("exponential", ["scale"]),
    ],
)
def test_parameters_are_named_as_promised(family, names):
    found = life_findings(read_life_table(NIST), family_named(family))

    assert list(found["parameters"]) == names
    assert np.array(found["covariance"]).shape == (len(names), len(names))


def test_regression_from_text():
    # R survreg 3.5-3 on `ovarian`: -0.3850425, 0.5286455, scale 0.8838731.
    frame = pd.read_csv(path("survival_ovarian"))
    frame["lower"] = frame["futime"]
    frame["upper"] = frame["futime"].where(frame["fustat"] == 1)
    text = frame.to_csv(index=False)
    names = ("ecog.ps", "rx")
    found = life_findings(read_life_table(text, names), Family.WEIBULL, names)

    assert list(found["parameters"]) == ["intercept", "ecog.ps", "rx", "sigma"]
    assert found["parameters"]["rx"]["estimate"] == pytest.approx(0.5286455, rel=1e-6)
    assert found["parameters"]["sigma"]["estimate"] == pytest.approx(0.8838731, rel=1e-6)
    assert found["at"] == {"ecog.ps": pytest.approx(38 / 26), "rx": 1.5}


def test_weights_intervals_and_entry_from_text():
    # Turbine parts (R survival `cracks`): 94 cracked of 167; R survreg -309.6311809.
    table = pd.read_csv(path("survival_cracks"))
    days = [0, *table["days"]]
    lines = [f"{a},{b},{w}" for a, b, w in zip(days[:-1], days[1:], table["fail"], strict=True)]
    text = "\ufefflower, upper ,weight\r\n" + "\r\n".join([*lines, f"{days[-1]},,73", "", ""])
    found = life_findings(read_life_table(text), Family.WEIBULL)

    assert (found["n"], found["events"]) == (167, 94)
    assert found["log_likelihood"] == pytest.approx(-309.6311809, rel=1e-9)
    entry = read_life_table("entry,lower,upper\n2,5,\n,4,4\n")["entry"]
    assert entry.tolist() == [2.0, 0.0]


def test_no_failures_give_a_bound_by_assumed_shape():
    # Nelson (1985), from memory: ten units of 500 h, shape 2, 95 %: 913.520937 h.
    found = life_findings(read_life_table("lower,upper\n" + "500,\n" * 10), Family.WEIBULL)
    by_shape = {case["shape"]: case["scale"] for case in found["few_failures"]["by_shape"]}

    assert found["events"] == 0
    assert found["parameters"] == {}
    assert found["b10"] is None
    assert "at least one life must have ended" in found["warnings"][0]
    assert by_shape[2.0]["likelihood_ratio"] == [pytest.approx(913.520937, rel=1e-8), None]
    assert by_shape[2.0]["estimate"] is None


def test_few_failures_add_assumed_shapes_and_a_prior():
    found = life_findings(read_life_table("lower,upper\n3,3\n5,5\n8,\n9,\n"), Family.LOGNORMAL)

    assert "only 2 failures" in found["warnings"][0]
    assert len(found["few_failures"]["by_shape"]) == 4
    held = found["few_failures"]["with_prior"]
    assert "a prior was used" in held["assumption"]
    assert held["parameters"]["sigma"]["likelihood_ratio"][0] > 0


def test_few_failures_that_fix_no_curve_are_still_answered():
    found = life_findings(read_life_table("lower,upper\n3,\n5,\n8,8\n"), Family.WEIBULL)

    assert found["parameters"] == {}
    assert "must differ in age" in found["warnings"][0]
    assert found["few_failures"]["by_shape"][0]["scale"]["estimate"] == pytest.approx(16.0)
    json.dumps(found, allow_nan=False)


def test_an_open_limit_is_null_and_said():
    text = "lower,upper,weight\n0,3,2\n3,,4\n0,6,4\n6,,2\n"
    found = life_findings(read_life_table(text), Family.LOGNORMAL)

    assert found["parameters"]["sigma"]["likelihood_ratio"][1] is None
    assert any("sigma has no likelihood-ratio limit above" in w for w in found["warnings"])


def test_enough_failures_without_a_curve_are_refused():
    with pytest.raises(NotEstimable, match="must differ in age"):
        life_findings(read_life_table("lower,upper\n" + "3,3\n" * 6), Family.WEIBULL)


@pytest.mark.parametrize(
    ("text", "covariates", "message"),
    [
        ("", (), "needs a header and at least one row"),
        ("lower,upper\n", (), "at least one row"),
        ("lower\n3\n", (), "needs the columns upper; it has lower"),
        ("lower,upper\n3,3\n", ("ratio",), "needs the columns ratio"),
        ("lower,upper,lower\n3,3,3\n", (), "named twice: lower"),
        ("lower,upper\n3,3\n", ("weight",), "must not be one of the table's own: weight"),
        ("lower,upper\n3,3\n4\n", (), "each row needs 2 cells; not so: line 3"),
        ("lower,upper\n3,3\n,4\nx,5\n", (), "lower must be a number: lines 3, 4"),
        ("lower,upper\n3,nan\n", (), "upper must be a number: line 2"),
        ("lower,upper\n3,1_0\n", (), "upper must be a number: line 2"),
        ("lower,upper\n" + "a,b\n" * 7, (), "lines 2, 3, 4, 5, 6 and 2 more; upper"),
        ('lower,upper\n"' + "3" * 200_000 + '",3\n', (), "comma-separated text; field larger"),
        ("lower,upper,ratio\n3,3,\n", ("ratio",), "ratio must be a number: line 2"),
    ],
)
def test_bad_text_is_refused(text, covariates, message):
    with pytest.raises(InputError, match=message):
        read_life_table(text, covariates)


def test_other_refusals():
    with pytest.raises(InputError, match="family must be one of weibull, lognormal"):
        family_named("gamma")
    with pytest.raises(InputError, match="lacks the columns: upper, ratio"):
        life_findings(pd.DataFrame({"lower": [1.0]}), Family.WEIBULL, ("ratio",))
    with pytest.raises(InputError, match="entry 4, lower 3"):
        life_findings(read_life_table("entry,lower,upper\n4,3,3\n"), Family.WEIBULL)
