"""The door: no route opens without a session, and none without the role for it."""

from functools import partial
from urllib.parse import quote

from flask import Flask, Response, abort, g, make_response, redirect, request

from dashboard.access.needs import OPEN, needed
from dashboard.access.people import Access, Role, knows, people
from dashboard.access.sessions import Session, begin, end, redeem, session_of

__all__ = ["COOKIE", "may", "person", "put_door"]

COOKIE = "discward"
_LOOK = "/assets/look.css"
_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Log in - discward</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/assets/look.css"></head><body><main id="content">
<section class="answer"><h1>discward</h1><p role="status">{said}</p></section>
{form}</main></body></html>"""
_FORM = """<form method="post" class="part">
<p><label for="name">Name</label><br>
<input id="name" name="name" autocomplete="username" required></p>
<p><label for="password">Password</label><br>
<input id="password" name="password" type="password" autocomplete="current-password" required></p>
<p><button class="act" type="submit">Log in</button></p></form>"""
_BY_LINK = (
    "Open the link that discward printed where it was started. It lets one browser in, once;"
    " `discward people link` prints another."
)


def put_door(server: Flask, access: Access) -> None:
    """Put the door in front of every route.

    Parameters
    ----------
    server : Flask
        The server; its gate (host, origin) stands before the door.
    access : Access
        People and sessions.
    """
    server.before_request(partial(_check, access))
    server.add_url_rule("/login", "log_in", partial(_log_in, access), methods=["GET", "POST"])
    server.add_url_rule("/enter/<token>", "enter", partial(_enter, access))
    server.add_url_rule("/logout", "log_out", partial(_log_out, access), methods=["POST"])


def _check(access: Access) -> Response | None:
    endpoint = request.endpoint or ""
    if endpoint in OPEN or request.path == _LOOK:
        return None
    session = session_of(access, request.cookies.get(COOKIE, ""))
    if session is None:
        if request.method == "GET" and "text/html" in request.headers.get("Accept", ""):
            return redirect(f"/login?to={quote(request.full_path.rstrip('?'), safe='')}")
        abort(401, "Log in first.")
    g.person = session
    if endpoint and session.role < needed(endpoint, request.get_json(silent=True)):
        abort(403, "Your role does not allow this.")
    return None


def _log_in(access: Access) -> Response:
    if not people(access):
        return make_response(_PAGE.format(said=_BY_LINK, form=""), 200)
    if request.method == "GET":
        return make_response(_PAGE.format(said="Log in to see the fleet.", form=_FORM))
    name = request.form.get("name", "")
    role = knows(access, name, request.form.get("password", ""))
    if role is None:
        said = "Name and password do not match, or there were too many guesses: wait a little."
        return make_response(_PAGE.format(said=said, form=_FORM), 401)
    return _come_in(access, begin(access, name, role), request.args.get("to", ""))


def _enter(access: Access, token: str) -> Response:
    secret = redeem(access, token)
    if secret is None:
        said = "This link is spent or too old; `discward people link` prints another."
        return make_response(_PAGE.format(said=said, form=""), 401)
    return _come_in(access, secret, "")


def _log_out(access: Access) -> Response:
    end(access, request.cookies.get(COOKIE, ""))
    response = redirect("/login")
    response.delete_cookie(COOKIE)
    return response


def _session() -> Session | None:
    return getattr(g, "person", None)


def person() -> str:
    """Give the name of whoever asks; blank when the dashboard stands open on one machine."""
    session = _session()
    return session.name if session else ""


def may(role: Role) -> bool:
    """Tell whether whoever asks has at least this role; all have when the dashboard stands open."""
    session = _session()
    return session is None or session.role >= role


def _come_in(access: Access, secret: str, to: str) -> Response:
    response = redirect(to if _is_here(to) else "/")
    response.set_cookie(
        COOKIE,
        secret,
        max_age=12 * 3600,
        httponly=True,
        # Lax, so that a link in a mail opens the page it names: writes need our own origin anyway.
        samesite="Lax",
        secure=access.secure,
    )
    return response


def _is_here(to: str) -> bool:
    """Tell whether an address is a path of this dashboard, and nothing a browser reads as more.

    Examples
    --------
    >>> _is_here("/early?site=North"), _is_here("//example.org"), _is_here("https://example.org")
    (True, False, False)
    """
    return (
        to.startswith("/")
        and not to.startswith("//")
        and "\\" not in to
        and to.isprintable()
        and to.isascii()
    )
