"""Which data are these? A short name that changes when any accepted value does."""

import hashlib
from collections.abc import Mapping

import pandas as pd

__all__ = ["fingerprint"]

_WHERE = ("source_file", "source_line")
_DIGITS = 12


def fingerprint(tables: Mapping[str, pd.DataFrame]) -> str:
    """Give twelve hex digits that name the values of some tables.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        By name; the order of tables, rows and columns does not matter, nor which file
        or line a row came from.

    Returns
    -------
    str
        Equal for equal data on one version of pandas; different, but for a chance of
        2^-48, as soon as one value differs.

    Examples
    --------
    >>> first = fingerprint({"a": pd.DataFrame({"x": [1, 2]})})
    >>> first == fingerprint({"a": pd.DataFrame({"x": [2, 1]})})
    True
    >>> first == fingerprint({"a": pd.DataFrame({"x": [1, 3]})})
    False
    """
    said = hashlib.sha256()
    for name in sorted(tables):
        table = tables[name].drop(columns=[*_WHERE], errors="ignore")
        columns = sorted(map(str, table.columns))
        rows = pd.util.hash_pandas_object(table[columns], index=False).sort_values()
        said.update(f"{name} {len(table)} {columns} ".encode())
        said.update(rows.to_numpy().tobytes())
    return said.hexdigest()[:_DIGITS]
