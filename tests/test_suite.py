"""The suite's own ground: guards, homes, services."""

from __future__ import annotations

from pathlib import Path

import pytest
from celery import current_app
from django.conf import settings

from labmatrix.evidence.guards import guards_missing
from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.blob import blob_storage
from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction
from labmatrix.kernel.clock import now


def append_entry():
    with ledger_transaction():
        return ledger_append(actor="suite", kind="note", subject="S-1", body={}, now=now())


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("turn", [1, 2])
def test_each_transactional_test_starts_guarded_and_empty(turn):
    assert guards_missing() == []
    assert append_entry().seq == 1


@pytest.mark.django_db
def test_a_plain_test_after_a_flush_is_guarded_and_empty():
    assert guards_missing() == []
    assert not LedgerEntry.objects.exists()


def test_never_touches_the_home_of_a_running_installation():
    home = Path(settings.HOME)
    assert home != settings.BASE_DIR / "var"
    places: list[str | Path] = [
        blob_storage().path(""),
        str(settings.CELERY_BROKER_TRANSPORT_OPTIONS["data_folder_in"]),
        settings.FILE_UPLOAD_TEMP_DIR,
        settings.STATIC_ROOT,
    ]
    for place in places:
        assert Path(place).is_relative_to(home)


def test_messages_go_to_the_broker_of_the_settings():
    assert current_app.conf.broker_url == settings.BROKER_URL


def test_the_browser_opens_a_page_of_the_live_server(live_server, page):
    page.goto(f"{live_server.url}/health/")
    assert page.get_by_text("ok").count() == 1
