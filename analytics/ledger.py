"""What a job could not answer and what its reader must beware of, collected on the way."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from analytics.errors import NotEstimable

__all__ = ["Ledger"]

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Ledger:
    """Collects reasons and cautions; the only value of the job that grows.

    Attributes
    ----------
    not_answered : dict of str to str
        Question to the reason why there is no answer.
    cautions : list of str
        Sentences for the reader.
    """

    not_answered: dict[str, str] = field(default_factory=dict)
    cautions: list[str] = field(default_factory=list)

    def try_for(self, question: str, answer: Callable[[], T]) -> T | None:
        """Give the answer, or note why the data have none.

        Examples
        --------
        >>> ledger = Ledger()
        >>> def refuse() -> int:
        ...     raise NotEstimable("no failures")
        >>> ledger.try_for("life", refuse), ledger.not_answered
        (None, {'life': 'no failures'})
        """
        try:
            return answer()
        except NotEstimable as reason:
            self.not_answered[question] = str(reason)
            return None
