"""Texts that a spreadsheet would run: made harmless on the way out, whole again on the way in."""

import re

__all__ = ["neutralise", "restore"]

_RUNS = re.compile(r"'*[=+\-@\t\r\uff1d\uff0b\uff0d\uff20]")
"""How a formula begins, the full-width signs of East Asian spreadsheets included."""
_NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)


def neutralise(text: str) -> str:
    r"""Keep a spreadsheet from running a text as a formula.

    A text that begins like one gets an apostrophe in front; a number, negative
    or not, stays as it is. `restore` is the exact inverse.

    Examples
    --------
    >>> neutralise('=HYPERLINK("x")'), neutralise("-0.5"), neutralise("-2+3")
    ('\'=HYPERLINK("x")', '-0.5', "'-2+3")
    """
    return f"'{text}" if _RUNS.match(text) and not _NUMBER.fullmatch(text) else text


def restore(text: str) -> str:
    """Take off the apostrophe that `neutralise` put in front.

    Examples
    --------
    >>> restore(neutralise("@home")), restore("'quoted'")
    ('@home', "'quoted'")
    """
    return text[1:] if text.startswith("'") and _RUNS.match(text) else text
