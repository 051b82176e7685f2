"""Workers say that they live; the broker is asked whether it answers."""

from __future__ import annotations

import logging
import threading
from datetime import datetime

from django.db import DatabaseError, connection
from kombu.exceptions import OperationalError as BrokerError

from labmatrix.evidence.broker import app
from labmatrix.evidence.models import Heartbeat, Job
from labmatrix.kernel.clock import now as clock_now
from labmatrix.web.health import PartHealth

BEAT_SECONDS = 15.0
LATE_SECONDS = 90.0
logger = logging.getLogger(__name__)


def heartbeat_write(queue: str, now: datetime) -> None:
    """Note that a worker of this queue lives."""
    Heartbeat.objects.update_or_create(queue=queue, defaults={"seen_at": now})


def heartbeat_start(queues: list[str], ended: threading.Event) -> threading.Thread:
    """Beat beside the work until ``ended``: a worker in the middle of long work lives too."""

    def beat() -> None:
        while not ended.is_set():
            try:
                for queue in queues:
                    heartbeat_write(queue, clock_now())
            except DatabaseError as error:
                logger.warning("the database is away, a heartbeat is left out: %s", error)
            finally:
                connection.close()  # no child of this process may inherit it
            ended.wait(BEAT_SECONDS)

    thread = threading.Thread(target=beat, name="heartbeat", daemon=True)
    thread.start()
    return thread


def broker_health(now: datetime) -> list[PartHealth]:
    """Whether the broker takes a connection."""
    try:
        with app.connection_for_write() as door:
            door.ensure_connection(max_retries=1, interval_start=0, timeout=3)
    except (BrokerError, OSError) as error:
        return [PartHealth("broker", False, f"does not answer ({type(error).__name__})")]
    return [PartHealth("broker", True, "answers")]


def worker_health(now: datetime) -> list[PartHealth]:
    """Whether a worker of each queue was heard within the last minute and a half."""
    seen = dict(Heartbeat.objects.values_list("queue", "seen_at"))
    found = []
    for queue in Job.Queue.values:
        name = f"{queue} worker"
        if queue not in seen:
            found.append(PartHealth(name, False, "was never heard"))
            continue
        age = (now - seen[queue]).total_seconds()
        found.append(PartHealth(name, age <= LATE_SECONDS, f"heard {max(age, 0):.0f} s ago"))
    return found
