"""Plain pages: server-made, so that files stream and nothing needs a script."""

from html import escape

import pandas as pd

from dashboard.sentences import CAUTION

__all__ = ["plain_page", "plain_table"]

_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{title} - discward</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/assets/look.css"></head><body>
<header class="top"><div class="name"><strong>discward</strong></div>
<nav aria-label="Pages"><a href="/">Now</a><a href="/logs">Logs' health</a></nav></header>
<main id="content"><section class="answer"><h1>{title}</h1>{said}</section>{body}</main>
<footer><p><strong>Caution.</strong> {caution}</p></footer></body></html>"""


def plain_page(title: str, body: str, said: str = "") -> str:
    """Frame a page; `title` is text, `body` and `said` are markup with every text escaped."""
    return _PAGE.format(title=escape(title), said=said, body=body, caution=escape(CAUTION))


def plain_table(rows: pd.DataFrame, name: str, links: list[str] | None = None) -> str:
    """Show rows as a table; `links` are addresses, one per row, that the first cell leads to."""
    head = "".join(f'<th scope="col">{escape(str(title))}</th>' for title in rows)
    cells = [
        [escape(str(cell)) for cell in row]
        for row in rows.fillna("").astype(str).itertuples(index=False)
    ]
    if links:
        for row, link in zip(cells, links, strict=True):
            row[0] = f'<a href="{escape(link)}">{row[0]}</a>'
    body = "".join(f"<tr>{''.join(f'<td>{cell}</td>' for cell in row)}</tr>" for row in cells)
    return (
        f'<div class="scrolled" tabindex="0" role="region" aria-label="{escape(name)}"><table>'
        f"<caption>{escape(name)}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody>"
        "</table></div>"
    )
