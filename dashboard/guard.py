"""Who may ask for what: cookies, hosts, and what a browser may do with the page."""

from __future__ import annotations

import re
import secrets
from collections.abc import Sequence
from typing import Final

from flask import Flask, Response, abort, g, request

COOKIE: Final = "roadtest"
LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "[::1]"})

_KEY: Final = re.compile(r"[A-Za-z0-9_-]{43}")


def guard(server: Flask, script_hashes: Sequence[str], *, loopback_only: bool) -> None:
    """Give every browser a key of its own, and every answer the headers that keep it safe.

    With `loopback_only`, requests under any other host's name are refused: a web page elsewhere
    that has its name point at this machine gets nothing.
    """
    policy = "; ".join(
        (
            "default-src 'self'",
            "script-src 'self' " + " ".join(script_hashes),
            "style-src 'self' 'unsafe-inline'",  # plotly and dash set styles from scripts
            "img-src 'self' data: blob:",
            "object-src 'none'",
            "base-uri 'none'",
            "form-action 'none'",
            "frame-ancestors 'none'",
        )
    )

    @server.before_request
    def _know_the_browser() -> None:
        host = re.sub(r":[0-9]+$", "", request.host)
        if loopback_only and host not in LOOPBACK:
            abort(403)
        # Whatever else is open in the browser may not do anything here in its owner's name.
        origin = request.headers.get("Origin")
        if request.method == "POST" and origin not in (None, f"{request.scheme}://{request.host}"):
            abort(403)
        key = request.cookies.get(COOKIE, "")
        g.key = key if _KEY.fullmatch(key) else secrets.token_urlsafe(32)
        g.new = g.key != key

    @server.after_request
    def _keep_safe(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        if g.get("new"):
            response.set_cookie(COOKIE, g.key, httponly=True, samesite="Strict")
        return response


def browser_key() -> str:
    """Return the key of the browser that asks."""
    return str(g.key)


def is_new_browser() -> bool:
    """Return whether the browser that asks came without a key."""
    return bool(g.new)
