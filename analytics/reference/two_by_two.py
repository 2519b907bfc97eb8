"""Published two-by-two tables: exact test, odds ratio, relative risk, difference of risk."""

from pathlib import Path

from analytics.early.two_by_two import two_by_two
from analytics.reference.check import Check, compare

__all__ = ["two_by_two_checks"]

INSTALLS = "poor installs 6 of 10 failed early, good 4 of 40; exact sums by hand"
TEA = "R. A. Fisher, The Design of Experiments (1935) ch. 2: 34 of 70 ways, two-sided"
ASPIRIN = (
    "Physicians' Health Study, 189 of 11 034 and 104 of 11 037; A. Agresti, Categorical Data "
    "Analysis, sec. 3.1; from memory, unverified"
)
KOOPMAN = (
    "P. A. R. Koopman, Biometrics 40 (1984) 513-517, 36 of 40 against 16 of 80; from memory, "
    "unverified"
)
NEWCOMBE = (
    "R. G. Newcombe, Statistics in Medicine 17 (1998) table II, 56 of 70 less 48 of 80, method "
    "10; from memory, unverified"
)


def two_by_two_checks(tables: Path) -> list[Check]:
    """Recompute published two-by-two tables; they need no file."""
    del tables
    poor = two_by_two(failed=6, sound=4, failed_without=4, sound_without=36)
    tea = two_by_two(failed=3, sound=1, failed_without=1, sound_without=3)
    heart = two_by_two(failed=189, sound=10_845, failed_without=104, sound_without=10_933)
    ratio = two_by_two(failed=36, sound=4, failed_without=16, sound_without=64).relative_risk
    shares = two_by_two(failed=56, sound=14, failed_without=48, sound_without=32)
    return [
        *compare("two by two", INSTALLS, {"Fisher's p": (poor.p_value, 0.0019872)}, absolute=5e-8),
        *compare(
            "two by two",
            INSTALLS,
            {
                "odds ratio": (poor.odds_ratio.estimate, 13.5),
                "relative risk": (poor.relative_risk.estimate, 6.0),
                "difference of risk": (poor.risk_difference.estimate, 0.5),
            },
            relative=1e-9,
        ),
        *compare("two by two", TEA, {"Fisher's p": (tea.p_value, 34 / 70)}, relative=1e-9),
        *compare(
            "two by two",
            ASPIRIN,
            {
                "relative risk": (heart.relative_risk.estimate, 1.82),
                "its limits": ((heart.relative_risk.low, heart.relative_risk.high), (1.43, 2.30)),
                "odds ratio": (heart.odds_ratio.estimate, 1.83),
            },
            absolute=0.005,
        ),
        *compare(
            "two by two",
            KOOPMAN,
            {"limits of the relative risk": ((ratio.low, ratio.high), (2.94, 7.15))},
            absolute=0.005,
        ),
        *compare(
            "two by two",
            NEWCOMBE,
            {
                "limits of the difference": (
                    (shares.risk_difference.low, shares.risk_difference.high),
                    (0.0524, 0.3339),
                )
            },
            absolute=5e-5,
        ),
    ]
