"""Who may ask the dashboard what: host, origin and size of every request, and the headers back.

One check runs before every route and refuses what it does not know; headers are put
on every answer, errors included.
"""

from collections.abc import Callable, Iterable
from typing import Any

from flask import Flask, Request, Response, abort, request

__all__ = ["LOCAL_HOSTS", "guard"]

LOCAL_HOSTS = ("127.0.0.1", "localhost", "[::1]")
CALLBACKS = "/_dash-update-component"
LARGEST_BODY = 2 * 1024 * 1024
_READING = {"GET", "HEAD", "OPTIONS"}

_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


def guard(
    server: Flask,
    *,
    hosts: Iterable[str],
    script_hashes: Iterable[str],
    is_callback: Callable[[Any], bool],
    scheme: str = "http",
) -> None:
    """Put the gate in front of every route of a server.

    Parameters
    ----------
    server : Flask
        The server behind the dashboard.
    hosts : iterable of str
        Names, without port, under which the dashboard may be asked for. A request
        for another name is refused, so a page elsewhere cannot reach it by naming.
    script_hashes : iterable of str
        Hashes of the inline scripts that belong to the dashboard.
    is_callback : callable
        Tells whether the body of a write is one that the dashboard's pages send.
    scheme : str
        What its pages are fetched by: `https` when a proxy with TLS stands in front.
    """
    known = frozenset(hosts)
    policy = content_policy(script_hashes)
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_BODY

    def check() -> None:
        if host_name(request.host) not in known:
            abort(421, "This name is not one the dashboard answers to.")
        if request.method not in _READING and not same_origin(request, scheme):
            abort(403, "Only the dashboard's own pages may write to it.")
        writes_back = request.path == CALLBACKS and request.method == "POST"
        if writes_back and not is_callback(request.get_json(silent=True)):
            abort(400, "This is no request of the dashboard's pages.")

    def seal(response: Response) -> Response:
        response.headers.update(_HEADERS)
        response.headers["Content-Security-Policy"] = policy
        if not request.path.startswith(("/assets/", "/_dash-component-suites/")):
            response.headers["Cache-Control"] = "no-store"
        response.headers.pop("Server", None)
        return response

    server.before_request(check)
    server.after_request(seal)


def content_policy(script_hashes: Iterable[str]) -> str:
    """Write the content policy: everything from here, scripts only by file or hash.

    Styles may stand inline because the drawing and table libraries write them.
    """
    scripts = " ".join(["'self'", *script_hashes])
    return "; ".join(
        [
            "default-src 'none'",
            f"script-src {scripts}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            "connect-src 'self'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        ]
    )


def host_name(host: str) -> str:
    """Take the port off a host.

    Examples
    --------
    >>> host_name("127.0.0.1:8050"), host_name("[::1]:8050"), host_name("localhost")
    ('127.0.0.1', '[::1]', 'localhost')
    """
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0].lower()


def same_origin(asked: Request, scheme: str) -> bool:
    """Tell whether a writing request comes from a page of this dashboard."""
    if asked.headers.get("Sec-Fetch-Site", "same-origin") != "same-origin":
        return False
    return asked.headers.get("Origin") == f"{scheme}://{asked.host}"
