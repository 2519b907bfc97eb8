"""The admin's page: who may come in, who is in, and the button that ends their sessions.

Adding people, roles and passwords stay with `discward people`, on the machine itself.
"""

from functools import partial
from html import escape
from pathlib import Path

from flask import Flask, Response, make_response, request

from dashboard.access.door import person
from dashboard.access.people import Access, list_people
from dashboard.access.sessions import BY_LINK, end_all
from dashboard.changes import About, Kind, note_change
from dashboard.plain import plain_page

__all__ = ["offer_people"]

_ROW = """<tr><td>{name}</td><td>{role}</td><td>{sessions}</td><td>
<form method="post" action="/people/revoke"><input type="hidden" name="name" value="{name}">
<button class="small" type="submit" aria-label="End the sessions of {name}">End their sessions
</button></form></td></tr>"""
_TABLE = """<section class="part"><div class="scrolled" tabindex="0" role="region"
aria-label="People"><table><caption>People and their open sessions</caption><thead><tr>
<th scope="col">Name</th><th scope="col">Role</th><th scope="col">Open sessions</th>
<th scope="col">Revoke</th></tr></thead><tbody>{rows}</tbody></table></div>
<p class="note">To add or remove people, or to change a role or a password, use
<code>discward people</code> on the machine that serves this.</p></section>"""


def offer_people(server: Flask, access: Access, *, notes: Path | None) -> None:
    """Let an admin see the people and end sessions; `notes` keeps that they did."""
    server.add_url_rule("/people", "people", partial(_people, access, ""))
    server.add_url_rule(
        "/people/revoke", "revoke", partial(_revoke, access, notes), methods=["POST"]
    )


def _people(access: Access, said: str) -> Response:
    rows = "".join(
        _ROW.format(name=escape(one.name), role=one.role.name.lower(), sessions=one.sessions)
        for one in list_people(access)
    )
    rows += _ROW.format(name=BY_LINK, role="by link", sessions="")
    return make_response(plain_page("People", _TABLE.format(rows=rows), said))


def _revoke(access: Access, notes: Path | None) -> Response:
    name = request.form.get("name", "")
    if name != BY_LINK and all(one.name != name for one in list_people(access)):
        return make_response(
            plain_page("People", "", f'<p class="stop">There is no {escape(name[:80])}.</p>'), 404
        )
    end_all(access, name)
    if notes:
        who = About(by=person(), account=person())
        note_change(notes, Kind.PEOPLE, f"ended the sessions of {name}", who)
    return _people(access, f'<p class="go" role="status">The sessions of {escape(name)} ended.</p>')
