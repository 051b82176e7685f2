"""``manage.py verify-ledger``: says where, and fails."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from labmatrix.evidence.guards import guards_install
from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction
from labmatrix.kernel.clock import now

pytestmark = pytest.mark.django_db


@pytest.fixture
def three_entries():
    with ledger_transaction():
        return [
            ledger_append(actor="lead", kind="note", subject=f"S-{i}", body={"i": i}, now=now())
            for i in (1, 2, 3)
        ]


def without_guard(sql, parameters):
    name = "no_update" if connection.vendor == "sqlite" else "no_change"
    on = "" if connection.vendor == "sqlite" else " ON evidence_ledgerentry"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER evidence_ledgerentry_{name}{on}")
        cursor.execute(sql, parameters)
    guards_install()


def test_prints_the_head_of_a_whole_chain(three_entries, capsys):
    call_command("verify-ledger")
    said = capsys.readouterr().out
    assert f"3 entries; the head of the chain is {three_entries[-1].entry_hash}" in said
    assert "The chain is whole." in said


def test_locates_one_changed_byte_and_fails(three_entries, capsys):
    content = three_entries[1].content.replace('"i":2', '"i":7')
    without_guard("UPDATE evidence_ledgerentry SET content = %s WHERE seq = 2", [content])
    assert LedgerEntry.objects.get(seq=2).content == content
    with pytest.raises(CommandError, match="broken in 1 places"):
        call_command("verify-ledger")
    assert "entry 2, content: its text no longer gives its hash" in capsys.readouterr().out


def test_locates_a_changed_column(three_entries, capsys):
    without_guard("UPDATE evidence_ledgerentry SET actor = %s WHERE seq = 3", ["other"])
    with pytest.raises(CommandError):
        call_command("verify-ledger")
    assert "entry 3, actor: the column says 'other'" in capsys.readouterr().out
