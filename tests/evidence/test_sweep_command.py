"""``manage.py sweep``: goes on through trouble, and ends when asked."""

from __future__ import annotations

import signal
from datetime import timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError, ProgrammingError
from kombu.exceptions import OperationalError as BrokerError

from labmatrix.evidence.management.commands import sweep
from labmatrix.evidence.models import Job
from labmatrix.evidence.services.job import job_submit
from labmatrix.kernel.clock import now


@pytest.fixture
def own_signals():
    before = {n: signal.getsignal(n) for n in (signal.SIGTERM, signal.SIGINT)}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


def messages():
    return list(Path(str(settings.CELERY_BROKER_TRANSPORT_OPTIONS["data_folder_in"])).iterdir())


@pytest.mark.django_db
def test_once_sends_what_was_never_sent(capsys):
    for left in messages():
        left.unlink()
    early = now() - timedelta(hours=1)
    job = job_submit(kind="count", key="lost", payload={}, now=early)
    call_command("sweep", once=True)
    assert capsys.readouterr().out == "1 sent again, 0 given up.\n"
    assert len(messages()) == 1
    assert Job.objects.get(id=job.id).sent_at is not None


@pytest.mark.parametrize(
    "trouble", [OperationalError("gone"), BrokerError("gone"), OSError("no space")]
)
def test_waits_for_a_database_or_broker_that_is_away(monkeypatch, own_signals, settings, trouble):
    settings.JOB_SWEEP_SECONDS = 0.01
    turns = []

    def job_sweep(*, now):
        turns.append(now)
        if len(turns) == 1:
            raise trouble
        signal.raise_signal(signal.SIGTERM)
        return {"sent": 0, "gave_up": 0}

    monkeypatch.setattr(sweep, "job_sweep", job_sweep)
    monkeypatch.setattr(sweep, "close_old_connections", lambda: None)
    call_command("sweep")
    assert len(turns) == 2


def test_a_fault_of_our_own_ends_it(monkeypatch, own_signals):
    def job_sweep(*, now):
        raise ProgrammingError("no such table")

    monkeypatch.setattr(sweep, "job_sweep", job_sweep)
    monkeypatch.setattr(sweep, "close_old_connections", lambda: None)
    with pytest.raises(ProgrammingError):
        call_command("sweep")
