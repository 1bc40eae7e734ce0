"""Who may see the page: only an address with the token, asked for on this machine.

Every path begins with the token, compared in constant time; anything else gets one plain page. The
Host header must name the loopback, so that no foreign name can be pointed here, and a request that
another site's page makes (Origin) is refused. What is served may run only scripts of its own and
call nobody but this server (content security policy; Vue compiles its templates in the browser,
which needs 'unsafe-eval').
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Awaitable, Callable

from aiohttp import web

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]

REFUSAL = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>snapsim: address not complete</title></head>
<body><h1>This address is not complete</h1>
<p>The page opens with the whole address that <code>snapsim page</code> printed in its terminal,
its token included.</p></body></html>
"""

POLICY = (
    "default-src 'none'; script-src 'self' 'unsafe-eval'; style-src 'self' 'unsafe-inline';"
    " img-src 'self' data: blob:; font-src 'self'; connect-src 'self' ws://{host};"
    " base-uri 'self'; form-action 'none'; frame-ancestors 'none'"
)

HOST = re.compile(r"(?:127\.0\.0\.1|localhost|\[::1\])(?::([0-9]{1,5}))?")
"""The only forms of a Host header that name this machine."""

LAST_PORT = 65535

HEADERS = {
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cache-Control": "no-store",
}


def new_token() -> str:
    """Return a token that nobody guesses: 128 random bits."""
    return secrets.token_hex(16)


def guarded(token: str) -> web.Application:
    """Return an application that answers only requests with the token; the page goes under it."""

    @web.middleware
    async def guard(request: web.Request, handler: Handler) -> web.StreamResponse:
        if not allowed(request.path, request.host, request.headers.get("Origin"), token):
            return web.Response(text=REFUSAL, status=403, content_type="text/html", headers=HEADERS)
        response = await handler(request)
        if not response.prepared:
            policy = POLICY.format(host=request.host)  # of a form that `HOST` knows
            response.headers.update(HEADERS | {"Content-Security-Policy": policy})
        return response

    return web.Application(middlewares=[guard])


def allowed(path: str, host: str, origin: str | None, token: str) -> bool:
    """Return whether a request may be answered."""
    given = path.split("/", 2)[1] if path.startswith("/") else ""
    named = HOST.fullmatch(host)
    if named is None or int(named[1] or 0) > LAST_PORT:
        return False
    if origin is not None and origin not in (f"http://{host}", f"https://{host}"):
        return False
    return secrets.compare_digest(given.encode(), token.encode())
