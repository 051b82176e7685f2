"""``manage.py sweep``: send again the work whose message or worker was lost."""

from __future__ import annotations

import logging
import signal
import threading
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.db import InterfaceError, OperationalError, close_old_connections
from kombu.exceptions import OperationalError as BrokerError

from labmatrix.evidence.services.job import job_sweep
from labmatrix.kernel.clock import now

logger = logging.getLogger(__name__)


class Command(BaseCommand):
    """Sweep for ever, or once."""

    help = "Send again jobs that were lost, every STRONGFLOOR_JOB_SWEEP_SECONDS, until SIGTERM."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Once, for a timer of one's own."""
        parser.add_argument("--once", action="store_true", help="sweep once and say what was done")

    def handle(self, *args: Any, **options: Any) -> None:
        """Loop; a database or broker that is away for a while is waited for."""
        if options["once"]:
            done = job_sweep(now=now())
            self.stdout.write(f"{done['sent']} sent again, {done['gave_up']} given up.")
            return
        ended = threading.Event()
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: ended.set())
        while not ended.is_set():
            _sweep_through_trouble()
            ended.wait(settings.JOB_SWEEP_SECONDS)


def _sweep_through_trouble() -> None:
    close_old_connections()
    try:
        done = job_sweep(now=now())
    except (OperationalError, InterfaceError) as error:
        logger.warning("the database is away, the sweep is put off: %s", error)
    except (BrokerError, OSError) as error:
        logger.warning("the broker is away, the sweep is put off: %s", error)
    else:
        if any(done.values()):
            logger.warning("%(sent)s jobs sent again, %(gave_up)s given up", done)
