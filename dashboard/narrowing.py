"""Which part of the findings a selection keeps."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any, cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.findings import Findings, Installation
from analytics.fleet import data_quality, yearly_costs, yearly_trend
from dashboard.selection import CHOICES, YEARS, Selection

__all__ = ["Narrower", "narrow"]

_PLACE = ("site", "family", "service")
_LIFE = (*_PLACE, "crew")
_CODED = (*CHOICES, "position_id", "life_id")


def narrow(findings: Findings, selection: Selection) -> Findings:
    """Keep the rows that the selection asks for; `Narrower` does it again and again."""
    return Narrower(findings).narrow(selection)


class Narrower:
    """Findings, and the place of every word in their lives, looked up once.

    Parameters
    ----------
    findings : Findings
        What selections are cut from. It is read, never changed.
    """

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        lives = findings.lives
        self._words = {
            column: _Words(lives[column]) for column in _CODED if column in lives and len(lives)
        }
        self._ended = lives["ended_on"].dt.year.to_numpy() if len(lives) else np.empty(0)

    def narrow(self, selection: Selection) -> Findings:
        """Keep the rows that the selection asks for, in every frame where it makes sense.

        Counts by year are counted anew from the lives that are kept. Model parameters,
        crews' and lots' ratios and the effects of install steps stay those of the whole
        fleet: narrowing a table is no new fit. An ending chosen narrows lists only, for a
        rate needs every ending to count its disc-years.

        Each frame is cut when it is first asked for: a page shows a few of them.
        """
        if selection.is_whole:
            return self.findings
        # A part answers to every name of the findings, so pages need not know of it.
        return cast(Findings, _Part(self, selection))

    def chosen(self, columns: Iterable[str], selection: Selection) -> NDArray[np.bool_]:
        """Tell which lives hold the words chosen for these columns."""
        kept = np.ones(len(self.findings.lives), bool)
        for column in columns:
            words = selection.words.get(column)
            if words and column in self._words:
                kept &= self._words[column].hold(words)
        return kept

    def within_years(self, selection: Selection) -> NDArray[np.bool_]:
        """Tell which lives ended in the chosen years."""
        first, last = _years(selection)
        return (self._ended >= first) & (self._ended <= last)

    def among(self, frame: pd.DataFrame, column: str, lives: NDArray[np.bool_]) -> pd.DataFrame:
        """Keep the rows of a frame whose position or life is among the lives."""
        if column not in frame:
            return frame
        if column not in self._words:
            return frame.iloc[:0]
        return frame[self._words[column].shared(frame[column], lives)]

    def count(self, column: str, lives: NDArray[np.bool_]) -> dict[str, int]:
        """Count the lives by the word of a column."""
        return self._words[column].count(lives) if column in self._words else {}


class _Words:
    """A column of the lives as whole numbers, which compare faster than texts."""

    def __init__(self, column: pd.Series) -> None:
        codes, known = pd.factorize(column)
        self._codes, self._known = codes, pd.Index(known)

    def hold(self, words: Iterable[str]) -> NDArray[np.bool_]:
        """Tell which rows hold one of the words."""
        return self._marked(self._known.isin(list(words)))[self._codes]

    def shared(self, column: pd.Series, rows: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Tell where a column holds a word that one of the rows holds."""
        held = np.zeros(len(self._known), bool)
        held[self._codes[rows & (self._codes >= 0)]] = True
        return self._marked(held)[self._known.get_indexer(column)]

    def count(self, rows: NDArray[np.bool_]) -> dict[str, int]:
        """Count the rows by word, commonest first."""
        codes = self._codes[rows]
        counts = np.bincount(codes[codes >= 0], minlength=len(self._known))
        order = np.argsort(-counts, kind="stable")
        return {str(self._known[at]): int(counts[at]) for at in order if counts[at]}

    @staticmethod
    def _marked(known: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Add the mark for no word: code -1, the last, is never kept."""
        return np.append(known, False)


class _Part:
    """Findings of which each frame is cut when first asked for, then kept.

    Two readers who ask at once may cut the same frame twice, to the same end.
    """

    def __init__(self, narrower: Narrower, selection: Selection) -> None:
        self._narrower, self._selection = narrower, selection
        self._chosen = narrower.chosen(_LIFE, selection)
        self._kept = (
            self._chosen
            & narrower.chosen(("ending",), selection)
            & narrower.within_years(selection)
        )
        self._places = narrower.chosen(_PLACE, selection)

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):
            raise AttributeError(name)
        cut = _CUTS.get(name)
        value = cut(self) if cut else getattr(self._narrower.findings, name)
        setattr(self, name, value)
        return value


def _lives(part: _Part) -> pd.DataFrame:
    return part._narrower.findings.lives[part._kept]


def _endings(part: _Part) -> dict[str, int]:
    return part._narrower.count("ending", part._kept)


def _installation(part: _Part) -> Installation | None:
    whole = part._narrower.findings.installation
    return whole and replace(
        whole, failures=part._narrower.among(whole.failures, "life_id", part._kept)
    )


def _crews(part: _Part) -> pd.DataFrame:
    crews, words = part._narrower.findings.crews, part._selection.words.get("crew")
    return crews[crews["crew"].isin(words)] if words and "crew" in crews else crews


def _at_positions(name: str) -> Callable[[_Part], pd.DataFrame]:
    def cut(part: _Part) -> pd.DataFrame:
        frame = getattr(part._narrower.findings, name)
        return part._narrower.among(frame, "position_id", part._places)

    return cut


def _in_stores(name: str) -> Callable[[_Part], pd.DataFrame]:
    """Keep the stores and disc codes that the kept positions draw on."""

    def cut(part: _Part) -> pd.DataFrame:
        findings = part._narrower.findings
        frame = getattr(findings, name)
        if frame.empty:
            return frame
        draws = findings.lives.loc[part._places, ["store", "disc_code"]].drop_duplicates()
        pairs = pd.MultiIndex.from_frame(draws)
        return frame[pd.MultiIndex.from_frame(frame[["store", "disc_code"]]).isin(pairs)]

    return cut


def _by_year(
    name: str, count: Callable[[pd.DataFrame, Findings], pd.DataFrame]
) -> Callable[[_Part], pd.DataFrame]:
    """Count anew from the lives that are kept, unless those are all or none."""

    def cut(part: _Part) -> pd.DataFrame:
        findings = part._narrower.findings
        frame = getattr(findings, name)
        if not part._chosen.any():
            frame = frame.iloc[:0]
        elif not part._chosen.all():
            frame = count(findings.lives[part._chosen], findings)
        first, last = _years(part._selection)
        return frame[frame["year"].between(first, last)] if "year" in frame else frame

    return cut


def _shares(findings: Findings) -> pd.Series:
    if findings.installation is None:
        return pd.Series(dtype=float)
    return findings.installation.failures.set_index("life_id")["share"]


def _years(selection: Selection) -> tuple[int, int]:
    return selection.first_year or YEARS.start, selection.last_year or YEARS.stop


_CUTS: dict[str, Callable[[_Part], Any]] = {
    "lives": _lives,
    "endings": _endings,
    "installation": _installation,
    "crews": _crews,
    "trend": _by_year("trend", lambda lives, _: yearly_trend(lives)),
    "costs": _by_year("costs", lambda lives, whole: yearly_costs(lives, _shares(whole))),
    "data_quality": _by_year("data_quality", lambda lives, _: data_quality(lives)),
    **{
        name: _at_positions(name)
        for name in (
            "duty",
            "duty_quarters",
            "intervals",
            "outage_plan",
            "overdue",
            "dangerous",
        )
    },
    **{name: _in_stores(name) for name in ("spares", "demand_weekly")},
}
"""How each frame that a selection narrows is cut; the others are the whole fleet's."""
