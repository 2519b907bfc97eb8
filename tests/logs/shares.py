"""How much of a long study runs with the ordinary tests.

A twenty-fifth by default; a build that has the time sets DISCWARD_TEST_SHARE=0.1.
The whole runs with `pytest -m study`.
"""

import os

__all__ = ["share"]


def share(full: int) -> int:
    """Give the number of cases of the ordinary run."""
    return max(20, round(full * float(os.environ.get("DISCWARD_TEST_SHARE", "0.04"))))
