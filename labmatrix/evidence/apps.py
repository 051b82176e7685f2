"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class EvidenceConfig(AppConfig):
    """Ledger, blobs, records, jobs."""

    name = "labmatrix.evidence"
    label = "evidence"

    def ready(self) -> None:
        """Guard the ledger after every migrate of any app; keep it for the room below."""
        from labmatrix.evidence import guards
        from labmatrix.evidence.services.heartbeat import broker_health, worker_health
        from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction
        from labmatrix.web.facts import Keeper, keeper_register
        from labmatrix.web.health import health_register

        health_register(broker_health)
        health_register(worker_health)
        keeper_register(Keeper(transaction=ledger_transaction, append=ledger_append))

        post_migrate.connect(guards.after_migrate, dispatch_uid="evidence.guards")
