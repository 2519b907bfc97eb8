from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from store_places import POSTGRESQL, fresh_address

POSITIONS = """position_id,site,disc_code,criticality,max_operating_pressure [barg],store
P-1,North,D-10,A,7.5,Main
P-2,North,D-10,B,7.0,Main
P-3,North,D-20,C,12,Main
"""
DISCS = """disc_code,family,specified_burst_pressure [barg],range_minus_pct,range_plus_pct
D-10,reverse_scored,10,5,5
D-20,forward_scored,20,4,7
"""
INSTALLS = """install_id,position_id,installed_on,disc_code,marked_burst_pressure [barg],seat_clean
I-1,P-1,2020-01-10,D-10,9.9,yes
I-2,P-2,2020-02-10,D-10,10.1,no
I-3,P-3,2020-03-10,D-20,20.0,
I-4,P-1,2021-04-03,D-10,10.0,yes
"""
REMOVALS = """removal_id,position_id,found_on,reason,upset,peak_pressure [barg],downtime [h],remarks
R-1,P-1,2021-04-03,burst,no,7.2,3.5,"seat dirty, cleaned"
"""


@pytest.fixture
def plant(tmp_path: Path) -> Callable[..., Path]:
    """Write a small, clean log folder; keyword arguments replace or add files' texts."""

    def write(**texts: str | None) -> Path:
        folder = tmp_path / "logs"
        folder.mkdir(exist_ok=True)
        clean = {
            "positions": POSITIONS,
            "discs": DISCS,
            "installs": INSTALLS,
            "removals": REMOVALS,
        }
        for name, text in (clean | texts).items():
            if text is not None:
                file = "logs.toml" if name == "toml" else f"{name}.csv"
                (folder / file).write_text(text, encoding="utf-8")
        return folder

    return write


@pytest.fixture(
    params=[
        "sqlite",
        pytest.param(
            "postgresql",
            marks=pytest.mark.skipif(
                not POSTGRESQL, reason="DISCWARD_TEST_POSTGRESQL names no server"
            ),
        ),
    ]
)
def address(request, tmp_path: Path) -> Iterator[str]:
    """Address of a fresh store, on each kind of database."""
    with fresh_address(request.param, tmp_path) as found:
        yield found
