"""The errors discward raises; every class is a ValueError.

ValueError
└── DiscwardError        one clear line: what was required, given, and would mend it
    ├── InputError       the logs or options cannot be used at all
    ├── UnitError        a unit word or a quantity that is not on the allow-list
    └── NotEstimable     the data cannot answer this question; says why
        └── NotConverged the search for the best fit did not end
"""

__all__ = ["DiscwardError", "InputError", "NotConverged", "NotEstimable", "UnitError"]


class DiscwardError(ValueError):
    """Base of every error that discward raises on purpose."""


class InputError(DiscwardError):
    """The input cannot be used: a missing folder, an empty file, an unknown option."""


class UnitError(DiscwardError):
    """A unit is missing, unknown or of another kind than the column needs."""


class NotEstimable(DiscwardError):
    """The data cannot answer the question that was asked of them."""


class NotConverged(NotEstimable):
    """The likelihood search stopped without reaching a maximum."""
