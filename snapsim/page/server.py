"""The local server: trame carries the calls, everything else is files of this package.

Only the loopback is listened on. The address holds a random token; all paths lie below it.
"""

from __future__ import annotations

import os
import re
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

from aiohttp import web

from snapsim.errors import InputError
from snapsim.page import guard
from snapsim.page.client import ASSETS, client_folder
from snapsim.page.dropped_mesh import UNITS, taken
from snapsim.page.guide_pages import Guide, guide_routes
from snapsim.page.triggers import CALLS, Desk
from snapsim.render.typeface import font_path

HOST = "127.0.0.1"
SCRIPTS = (
    "viewer.js",
    "hands.js",
    "playing.js",
    "parts.js",
    "rehearsing.js",
    "show.js",
    "showing.js",
    "lost.js",
    "sizing.js",
    "dropping.js",
    "abreast.js",
    "page.js",
)
TEMPLATE = "<snap-page></snap-page>"
LOST = "<snap-lost></snap-lost>"

Ready = Callable[[str], None]
"""Called with the address once the page can be opened."""


def serve(
    desk: Desk, port: int = 0, ready: Ready | None = None, guide: Guide | None = None
) -> None:
    """Serve until interrupted, with a guide beside; raises InputError where the port is taken."""
    from trame.app import get_server

    _require_free(port)
    token = guard.new_token()
    os.environ["TRAME_ARGS"] = ""  # trame must not read this program's own arguments
    server: Any = get_server("snapsim-page", client_type="vue3")
    server.enable_module({"www": ""})  # nothing is served but below the token
    for name in CALLS:
        server.controller.trigger(name)(getattr(desk, name))
    server.state.trame__title = "snapsim"
    server.state.trame__template_main = TEMPLATE
    server.state.trame__template_error = LOST
    server.state.trame__vue_use = ["snapsim.plugin"]
    server.controller.on_server_bind.add(lambda bound: _mount(bound, token, desk, guide))
    if ready is not None:
        server.controller.on_server_ready.add(
            lambda **_: ready(f"http://{HOST}:{server.port}/{token}/")
        )
    server.start(
        port=port,
        host=HOST,
        open_browser=False,
        show_connection_info=False,
        disable_logging=True,
        timeout=0,
    )


def _require_free(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as error:
            raise InputError(
                f"{port} cannot be had: {error.strerror}; choose another, or 0 for a free one",
                key="--port",
            ) from None


def _mount(bound: Any, token: str, desk: Desk, guide: Guide | None) -> None:
    """Put all routes, the web socket's too, below the token."""
    page: web.Application = bound.app
    page.router.add_get("/", _index)
    page.router.add_get("/index.html", _index)
    page.router.add_static("/client/", client_folder())
    page.router.add_static("/page/", ASSETS)
    page.router.add_static("/files/", desk.folder.name)
    page.router.add_get("/type/{weight}.ttf", _type)
    page.add_routes(guide_routes(guide) if guide else [])
    page.router.add_post("/mesh", lambda request: _mesh(request, desk))
    page.router.add_post("/paraview/", lambda request: _session(request, token))
    outer = guard.guarded(token)
    outer.add_subapp(f"/{token}/", page)
    bound.set_app(outer)


async def _index(request: web.Request) -> web.Response:
    return web.Response(text=index(), content_type="text/html")


async def _session(request: web.Request, token: str) -> web.Response:
    """Where trame's client, which asks under a path of its own choice, finds the web socket."""
    return web.json_response({"sessionURL": f"ws://{request.host}/{token}/ws"})


async def _mesh(request: web.Request, desk: Desk) -> web.Response:
    """Take a mesh file that was dropped onto the stage, and say how large it is."""
    try:
        mesh = await taken(request, Path(desk.folder.name))
    except InputError as error:
        return web.json_response({"error": {"key": None, "message": str(error)}})
    file = Path(mesh.path).name
    desk.dropped[file] = mesh
    told = {"name": mesh.name, "size": mesh.size, "triangles": mesh.triangles, "units": UNITS}
    return web.json_response({"mesh": told | {"file": file}})


async def _type(request: web.Request) -> web.FileResponse:
    return web.FileResponse(font_path(request.match_info["weight"] == "bold"))


def index() -> str:
    """Return the page's own HTML with trame's client in it."""
    found = re.search(r'src="\.?/?(assets/[^"]+\.js)"', _client_index())
    if found is None:
        raise RuntimeError("trame's client has another form than is known here")
    text = (ASSETS / "index.html").read_text(encoding="utf-8")
    template = (ASSETS / "page.html").read_text(encoding="utf-8")
    scripts = f'<script type="text/x-template" id="page-template">{template}</script>\n'
    scripts += "\n".join(f'<script src="page/{name}"></script>' for name in SCRIPTS)
    return text.replace("<!--SCRIPTS-->", scripts).replace("CLIENT", f"client/{found[1]}")


def _client_index() -> str:
    return (client_folder() / "index.html").read_text(encoding="utf-8")
