"""``manage.py up``: web, workers and sweeper together."""

from __future__ import annotations

import http.client
import signal
import socket
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import connections

from labmatrix.web.domain.demo import DEMO_PASSWORD
from labmatrix.web.models import Person
from labmatrix.web.start import bind_address, start_refusals
from labmatrix.web.supervisor import Supervisor

MANAGE = (sys.executable, str(settings.BASE_DIR / "manage.py"))
WEB = (sys.executable, "-m", "gunicorn", "labmatrix.wsgi:application")
PORT_TAKEN = "{address} is taken ({reason}); choose another port with PORT=8001, for instance."


def worker_command(queue: str) -> tuple[str, ...]:
    """The Celery worker of one queue; solo, because one queue does one job at a time."""
    quiet = ("--loglevel", "WARNING", "--without-gossip", "--without-mingle")
    worker = ("worker", "--pool", "solo", "--queues", queue, "--hostname", f"{queue}@%h", *quiet)
    # Messages carry ids as JSON, so the warning about pickled messages under root does not apply.
    hush = ("-W", "ignore:You're running the worker with superuser")
    return (sys.executable, *hush, "-m", "celery", "--quiet", "-A", "labmatrix", *worker)


class Command(BaseCommand):
    """Serve until Ctrl-C; ends as one when any part ends."""

    help = "Run web server, short and long worker and sweeper together, until Ctrl-C."
    requires_system_checks = ()  # all checks, those of the database too, are made below

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The two ways to leave the usual path."""
        parser.add_argument("--without-web", action="store_true", help="workers and sweeper only")
        parser.add_argument(
            "--before-web",
            metavar="COMMAND",
            help="run this management command while the workers run, and serve once it succeeded",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Start in order, watch, end all."""
        self._refuse_unless_ready(with_web=not options["without_web"])
        connections.close_all()
        supervisor = Supervisor(self._say)
        supervisor.listen()
        try:
            served = self._run(supervisor, options)
        finally:
            supervisor.stop()
        if not served and not supervisor.signals_seen:
            raise CommandError("Strongfloor has stopped, because one part of it did.")
        self._say("Stopped.")

    def _say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()

    def _refuse_unless_ready(self, *, with_web: bool) -> None:
        refusals = start_refusals()
        if refusals:
            raise CommandError("\n".join(refusals))
        if with_web:
            _refuse_if_taken()

    def _run(self, supervisor: Supervisor, options: dict[str, Any]) -> bool:
        for queue in ("short", "long"):
            supervisor.start(f"{queue} worker", worker_command(queue), cwd=settings.BASE_DIR)
        supervisor.start("sweeper", (*MANAGE, "sweep"))
        first = options["before_web"]
        if first and not supervisor.run(f"command {first}", (*MANAGE, first)):
            return False
        if options["without_web"]:
            self._say("Workers and sweeper are running. Ctrl-C ends them.")
        else:
            # The server ends its own processes when asked; killed, it would leave them for a while.
            supervisor.start("web server", WEB, when_orphaned=signal.SIGTERM, cwd=settings.BASE_DIR)
            if not supervisor.watch(_web_answers):
                return False
            self._say_where()
        return supervisor.watch(lambda: False)

    def _say_where(self) -> None:
        address = settings.PUBLIC_URL.rstrip("/")
        self._say(f"\nStrongfloor is at {address}/ (listening on {bind_address()}).")
        demo = Person.objects.filter(is_demo=True, is_active=True)
        names = list(demo.values_list("username", flat=True))
        connections.close_all()
        if names:
            self._say(f"Sign in as {', '.join(names)}; the password is {DEMO_PASSWORD}.")
        self._say("Ctrl-C ends web server, workers and sweeper.")


def _connect_host() -> str:
    host = str(settings.BIND).strip("[]")
    return {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104


def _refuse_if_taken() -> None:
    host = str(settings.BIND).strip("[]")
    try:
        found = socket.getaddrinfo(host, settings.PORT, type=socket.SOCK_STREAM)
        with socket.socket(found[0][0], socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(found[0][4])
    except OSError as error:
        raise CommandError(
            PORT_TAKEN.format(address=bind_address(), reason=error.strerror)
        ) from error


def _web_answers() -> bool:
    connection = http.client.HTTPConnection(_connect_host(), settings.PORT, timeout=5)
    try:
        connection.request("GET", "/health/", headers={"Host": "localhost"})
        return connection.getresponse().status == http.HTTPStatus.OK
    except OSError:
        return False  # not listening yet
    finally:
        connection.close()
