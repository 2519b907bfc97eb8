"""Published values recomputed on this machine, each beside its source."""

from analytics.reference.selfcheck import report_lines, selfcheck

__all__ = ["report_lines", "selfcheck"]
