"""How the web server runs; gunicorn reads this file wherever it is started in this folder."""

from __future__ import annotations

import os
import sys
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labmatrix.settings")
django.setup()

from django.db import connections  # noqa: E402

from labmatrix.web.start import bind_address, start_refusals  # noqa: E402

bind = bind_address()
workers = 2
threads = 4
timeout = 120
graceful_timeout = 10
loglevel = "warning"
control_socket_disable = True  # it would be a door in the home folder of whoever runs the server


def on_starting(server: Any) -> None:
    """Refuse to serve when something is not in order, however gunicorn was called."""
    refusals = start_refusals()
    if server.cfg.settings["bind"].get() != [bind]:
        refusals.append("Say where to listen by STRONGFLOOR_BIND and PORT, not by --bind.")
    connections.close_all()  # the processes that serve must not share one connection
    if refusals:
        sys.exit("\n".join(refusals))


def post_worker_init(worker: Any) -> None:
    """Hand over between threads ten times as often as Python does by itself.

    A thread that reads rows lets go of the interpreter at each one; while another thread fills in
    a page it would get it back only 5 ms later, row after row.
    """
    sys.setswitchinterval(0.0005)  # s
