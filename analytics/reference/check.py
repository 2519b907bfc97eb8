"""One published value beside what this machine computes."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

__all__ = ["Check", "Pairs", "compare"]

Pairs = dict[str, tuple[object, object]]
"""Name of a value, or of an array of them, and what was computed and expected."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A value computed here and the value expected.

    Attributes
    ----------
    topic, value : str
        What was asked, and which of its values.
    computed, expected, tolerance : float
        What was found, what was published, and how far they may be apart.
    source : str
        Document, clause, and who computed further digits.
    """

    topic: str
    value: str
    computed: float
    expected: float
    tolerance: float
    source: str

    @property
    def ok(self) -> bool:
        """Whether the two agree; a missing number never does."""
        return abs(self.computed - self.expected) <= self.tolerance


def compare(
    topic: str,
    source: str,
    pairs: Mapping[str, tuple[object, object]],
    *,
    absolute: float = 0.0,
    relative: float = 0.0,
) -> list[Check]:
    """Lay computed beside expected values, one check per number.

    Parameters
    ----------
    topic : str
        What was asked.
    source : str
        Where the expected values come from.
    pairs : mapping of str to (computed, expected)
        Name and the two numbers, or two arrays of one shape.
    absolute, relative : float, default 0
        Tolerance: `absolute` plus `relative` times the expected value.

    Returns
    -------
    list of Check
        One per number.

    Raises
    ------
    ValueError
        If two arrays differ in shape.

    Examples
    --------
    >>> [one.ok for one in compare("t", "s", {"x": ([1.0, 2.0], [1.0, 2.1])}, absolute=0.01)]
    [True, False]
    """
    checks = []
    for name, (computed, expected) in pairs.items():
        found, wanted = (np.array(numbers, dtype=float) for numbers in (computed, expected))
        if found.shape != wanted.shape:
            raise ValueError(f"{topic}, {name}: {found.shape} computed, {wanted.shape} expected")
        many = wanted.size > 1
        for place, (one, other) in enumerate(zip(found.ravel(), wanted.ravel(), strict=True)):
            checks.append(
                Check(
                    topic=topic,
                    value=f"{name} {place + 1}" if many else name,
                    computed=float(one),
                    expected=float(other),
                    tolerance=absolute + relative * abs(float(other)),
                    source=source,
                )
            )
    return checks
