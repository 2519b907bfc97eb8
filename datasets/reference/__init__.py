"""Published data against which discward is checked; sources and licences in README.md."""

from pathlib import Path

__all__ = ["folder", "path"]


def folder() -> Path:
    """Give the folder of the published tables."""
    return Path(__file__).resolve().parent


def path(name: str) -> Path:
    """Give the path of one published table.

    Parameters
    ----------
    name : str
        File name, with or without `.csv`.

    Returns
    -------
    Path
        An existing file.

    Raises
    ------
    ValueError
        If there is no such table; the message lists those there are.

    Examples
    --------
    >>> path("nist_repair").name
    'nist_repair.csv'
    """
    file = folder() / f"{name.removesuffix('.csv')}.csv"
    if not file.is_file():
        known = ", ".join(sorted(p.stem for p in folder().glob("*.csv")))
        raise ValueError(f"name must be one of {known}; got {name!r}")
    return file
