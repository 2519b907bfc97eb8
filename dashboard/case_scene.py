"""One early failure as its sheet sees it, and the form of a thing to do about it."""

from dataclasses import dataclass

import pandas as pd

from analytics.findings import Findings
from dashboard.case_causes import Cause, likely_causes, own_rivals

__all__ = ["ENGINEER", "PLANNER", "PURCHASING", "Scene", "Step", "scene_of"]

ENGINEER, PURCHASING, PLANNER = "Responsible engineer", "Purchasing", "Planner"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to do.

    Attributes
    ----------
    who : str
        Whom to ring.
    what : str
        What to ask of them, as a sentence.
    first : bool
        Whether it comes before all else: a disc in service or on the shelf may be bad.
    """

    who: str
    what: str
    first: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What the steps are worked out from.

    Attributes
    ----------
    findings : Findings
        What the job found.
    life, case : Series
        The failure's rows of the lives and of the failures frame.
    causes : tuple of Cause
        The likeliest first.
    rivals : DataFrame
        Its rows of the rivals frame.
    now : Series or None
        The life now in service at the same position.
    """

    findings: Findings
    life: pd.Series
    case: pd.Series
    causes: tuple[Cause, ...]
    rivals: pd.DataFrame
    now: pd.Series | None

    @property
    def place(self) -> str:
        """The position."""
        return str(self.life["position_id"])

    @property
    def crews(self) -> str:
        """Whom to ring about fitting: whoever leads it there now, not who fitted this disc."""
        return f"Crew leader, {self.life['site']}"

    @property
    def operations(self) -> str:
        """Whom to ring about the duty."""
        return f"Operations, {self.life['site']}"

    def blames(self, name: str) -> bool:
        """Say whether a cause is among the likely ones."""
        return any(cause.name == name for cause in self.causes)


def scene_of(findings: Findings, life: pd.Series, case: pd.Series) -> Scene:
    """Gather what is known about one failure."""
    lives = findings.lives
    there = lives[lives["position_id"].eq(life["position_id"]) & lives["ending"].eq("in_service")]
    return Scene(
        findings=findings,
        life=life,
        case=case,
        causes=likely_causes(findings, case),
        rivals=own_rivals(findings, case["life_id"]),
        now=None if there.empty else there.iloc[-1],
    )
