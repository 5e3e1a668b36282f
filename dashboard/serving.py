"""The page on a socket."""

from __future__ import annotations

import logging
import os
import socket
import sys
import threading
import time
from pathlib import Path
from typing import Final

from dash import Dash
from werkzeug.serving import make_server

from dashboard.apart import get_ready
from dashboard.app import make_app
from dashboard.memory import keep_together
from dashboard.reach import warning
from roadtest.errors import InputError

_LOOK_AGAIN_S: Final = 5.0


def serve(folder: Path | None, host: str, port: int) -> None:
    """Serve the page until Ctrl-C, saying where; InputError where the address can't be had."""
    said = warning(host, folder)
    _need_address(host, port)
    keep_together()
    threading.Thread(target=get_ready, name="get ready", daemon=True).start()
    app = make_app(folder, said)
    threading.Thread(target=_forget_unused, args=(app,), name="forget", daemon=True).start()
    server = make_server(host, port, app.server, threaded=True)
    logging.getLogger("werkzeug").setLevel(logging.WARNING)  # not a line for every request
    if said:
        sys.stderr.write(f"roadtest: {said}\n")
    shown = f"[{host}]" if ":" in host else host
    sys.stdout.write(f"The page is at http://{shown}:{server.server_port}/ (Ctrl-C ends it)\n")
    sys.stdout.flush()
    server.serve_forever()


def _need_address(host: str, port: int) -> None:
    """Raise InputError where `port` of `host` is taken: the server itself would end the program."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        if os.name == "posix":  # as the server does: what was just left may be taken again
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as fault:
            said = (fault.strerror or str(fault)).lower()
            expected = "a free port of this machine (--port 0 takes any)"
            raise InputError(f"{host}, port {port}", "", said, expected) from None


def _forget_unused(app: Dash) -> None:
    while True:
        time.sleep(_LOOK_AGAIN_S)
        app.server.extensions["roadtest"].forget_unused()
