"""The door: no route opens without a session, and no write without the role for it."""

from functools import partial

from flask import Flask, Response, abort, g, make_response, redirect, request

from dashboard.access.people import Access, Role, knows
from dashboard.access.sessions import begin, end, redeem, session_of
from dashboard.gate import CALLBACKS

__all__ = ["COOKIE", "person", "put_door"]

COOKIE = "discward"
_OPEN = {"/login", "/assets/look.css"}
_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Log in - discward</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/assets/look.css"></head><body><main id="content">
<section class="answer"><h1>discward</h1><p role="status">{said}</p></section>
<form method="post" action="/login" class="part">
<p><label for="name">Name</label><br>
<input id="name" name="name" autocomplete="username" required></p>
<p><label for="password">Password</label><br>
<input id="password" name="password" type="password" autocomplete="current-password" required></p>
<p><button class="act" type="submit">Log in</button></p></form></main></body></html>"""


def put_door(server: Flask, access: Access, *, writes: dict[str, Role]) -> None:
    """Put the door in front of every route.

    Parameters
    ----------
    server : Flask
        The server; its gate (host, origin) stands before the door.
    access : Access
        People and sessions.
    writes : dict of str to Role
        The role that a callback needs, by its declared output; every other needs a viewer.
    """
    server.before_request(partial(_check, access, writes))
    server.add_url_rule("/login", "log_in", partial(_log_in, access), methods=["GET", "POST"])
    server.add_url_rule("/enter/<token>", "enter", partial(_enter, access))
    server.add_url_rule("/logout", "log_out", partial(_log_out, access), methods=["POST"])


def _check(access: Access, writes: dict[str, Role]) -> Response | None:
    if request.path in _OPEN or request.path.startswith("/enter/"):
        return None
    session = session_of(access, request.cookies.get(COOKIE, ""))
    if session is None:
        if request.method == "GET" and "text/html" in request.headers.get("Accept", ""):
            return redirect("/login")
        abort(401, "Log in first.")
    g.person = session
    if session.role < _needed(writes):
        abort(403, "Your role does not allow this.")
    return None


def _log_in(access: Access) -> Response:
    if request.method == "GET":
        return make_response(_PAGE.format(said="Log in to see the fleet."))
    name = request.form.get("name", "")
    role = knows(access, name, request.form.get("password", ""))
    if role is None:
        said = "Name and password do not match, or there were too many guesses: wait a little."
        return make_response(_PAGE.format(said=said), 401)
    return _come_in(access, begin(access, name, role))


def _enter(access: Access, token: str) -> Response:
    secret = redeem(access, token)
    if secret is None:
        said = "This link is spent or too old. Start discward again for a new one."
        return make_response(_PAGE.format(said=said), 401)
    return _come_in(access, secret)


def _log_out(access: Access) -> Response:
    end(access, request.cookies.get(COOKIE, ""))
    response = redirect("/login")
    response.delete_cookie(COOKIE)
    return response


def person() -> str:
    """Give the name of whoever asks; blank when the dashboard stands open on one machine."""
    session = getattr(g, "person", None)
    return session.name if session else ""


def _come_in(access: Access, secret: str) -> Response:
    response = redirect("/")
    response.set_cookie(
        COOKIE,
        secret,
        max_age=12 * 3600,
        httponly=True,
        samesite="Strict",
        secure=access.secure,
    )
    return response


def _needed(writes: dict[str, Role]) -> Role:
    """Give the role a request needs: a viewer to read, an editor for every form posted."""
    if request.method != "POST" or request.path == "/logout":
        return Role.VIEWER
    if request.path != CALLBACKS:
        return Role.EDITOR
    body = request.get_json(silent=True)
    output = body.get("output") if isinstance(body, dict) else None
    return writes.get(output, Role.VIEWER) if isinstance(output, str) else Role.VIEWER
