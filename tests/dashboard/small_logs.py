"""A log folder of one position, invented, small enough to read at a glance."""

from pathlib import Path

FILES = {
    "logs.toml": 'title = "Small"\nlog_begins = 2020-01-01\nexport_date = 2024-12-31\n',
    "positions.csv": (
        "position_id,site,disc_code,max_operating_pressure [barg]\n"
        "P-1,Northwater,FS-100-06,4.2\n"
        "P-2,Northwater,GR-150-02,1.1\n"
    ),
    "discs.csv": (
        "disc_code,family,nominal_size,specified_burst_pressure [barg],"
        "coincident_temperature [degC],range_minus_pct,range_plus_pct\n"
        "FS-100-06,forward_scored,DN100,6,120,5,5\n"
        "GR-150-02,graphite,DN150,2,,,\n"
    ),
    "installs.csv": (
        "install_id,position_id,installed_on,disc_code\nI-1,P-1,2024-03-01,FS-100-06\n"
    ),
    "stock.csv": (
        "store,disc_code,lot,marked_burst_pressure [barg],quantity\nST-N,FS-100-06,L7,6.1,2\n"
    ),
}


def small_logs(folder: Path) -> Path:
    """Write the folder and give it back."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder
