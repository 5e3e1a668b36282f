"""The page on a socket."""

from __future__ import annotations

import logging
import sys
from pathlib import Path

from werkzeug.serving import make_server

from dashboard.app import make_app
from roadtest.dashboard_command import warning


def serve(folder: Path | None, host: str, port: int) -> None:
    """Serve the page until Ctrl-C, saying where; OSError where the address can't be had."""
    said = warning(host, folder)
    app = make_app(folder, said)
    server = make_server(host, port, app.server, threaded=True)
    logging.getLogger("werkzeug").setLevel(logging.WARNING)  # not a line for every request
    if said:
        sys.stderr.write(f"roadtest: {said}\n")
    shown = f"[{host}]" if ":" in host else host
    sys.stdout.write(f"The page is at http://{shown}:{server.server_port}/ (Ctrl-C ends it)\n")
    sys.stdout.flush()
    server.serve_forever()
