"""The house rule: data flows one way, and drawing never reaches a calculation."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
STAGES = [
    {
        "analytics.days",
        "analytics.errors",
        "analytics.estimate",
        "analytics.findings",
        "analytics.ledger",
        "analytics.units",
    },
    {"analytics.logs"},
    {"analytics.duty", "analytics.installs"},
    {"analytics.lives"},
    {"analytics.survival"},
    {"analytics.early", "analytics.intervals", "analytics.spares", "analytics.fleet"},
    {"analytics.plant"},
    {"analytics.model_summary", "analytics.plain_remarks"},
    {"analytics.backtest", "analytics.findings_json", "analytics.job", "analytics.reference"},
]
DRAWING = {"dashboard", "dash", "plotly", "dash_ag_grid", "dash_mantine_components", "datasets"}


def modules() -> list[Path]:
    return sorted((ROOT / "analytics").rglob("*.py"))


def imports(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def stage_of(module: str) -> int | None:
    for number, stage in enumerate(STAGES):
        if any(module == name or module.startswith(name + ".") for name in stage):
            return number
    return None


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_analytics_draws_nothing_and_knows_no_pint(path: Path):
    tops = {name.split(".")[0] for name in imports(path)}

    assert not tops & DRAWING
    assert "pint" not in tops or path == ROOT / "analytics" / "units.py"


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_stage_imports_a_later_one(path: Path):
    module = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    here = stage_of(module)
    assert here is not None or module == "analytics", f"{module} belongs to no stage"

    later = {name for name in imports(path) if (stage_of(name) or 0) > (here or 0)}
    assert not later, f"{module} imports a later stage: {sorted(later)}"


def test_no_two_test_files_share_a_name():
    names = [path.name for path in (ROOT / "tests").rglob("*.py") if path.name != "conftest.py"]

    assert len(names) == len(set(names)), "pytest imports test files by their bare names"
