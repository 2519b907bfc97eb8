"""What readers share: the fleet's own figures are made once, until other findings are shown."""

import pandas as pd
from sample import sample_findings

from dashboard.live import Live

SAMPLE = sample_findings()


def test_views_of_the_same_findings_share_what_is_made_of_the_fleet():
    live, made = Live(SAMPLE), []
    for search in ("", "?site=Millbank", "?site=Millbank&age=years"):
        live.look(search).once("curve", lambda: made.append(1))

    assert len(made) == 2  # once for each unit of age

    live.show(sample_findings())
    live.look("").once("curve", lambda: made.append(1))
    assert len(made) == 3


def test_a_part_cuts_a_frame_once_and_only_when_asked():
    part = Live(SAMPLE).look("?site=Millbank").findings

    assert "trend" not in vars(part)
    assert part.trend is part.trend
    assert part.life_curve is SAMPLE.life_curve
    assert not hasattr(part, "no_such_frame")


def test_cuts_are_those_of_a_plain_comparison():
    part = Live(SAMPLE).look("?site=Millbank&ending=premature&from=2019").findings
    lives = SAMPLE.lives
    plain = lives[
        lives["site"].eq("Millbank")
        & lives["ending"].eq("premature")
        & lives["ended_on"].dt.year.ge(2019)
    ]

    pd.testing.assert_frame_equal(part.lives, plain)
    assert part.endings == {"premature": len(plain)}
    assert set(part.installation.failures["life_id"]) == set(plain["life_id"])
    at = lives.loc[lives["site"].eq("Millbank"), "position_id"]
    pd.testing.assert_frame_equal(
        part.intervals, SAMPLE.intervals[SAMPLE.intervals["position_id"].isin(at)]
    )
