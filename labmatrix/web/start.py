"""What must be in order before a process may serve."""

from __future__ import annotations

from django.conf import settings
from django.core.checks import ERROR, run_checks
from django.db import DatabaseError, connections
from django.db.migrations.executor import MigrationExecutor


def bind_address() -> str:
    """Where the server listens, host and port; an IPv6 host in brackets."""
    host = settings.BIND.strip("[]")
    return f"[{host}]:{settings.PORT}" if ":" in host else f"{host}:{settings.PORT}"


def migrations_missing(using: str = "default") -> list[str]:
    """Names of the migrations that the database still lacks, ``app.name``, in order.

    Raises:
        DatabaseError: the database cannot be reached.
    """
    executor = MigrationExecutor(connections[using])
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{migration.app_label}.{migration.name}" for migration, _ in plan]


def migration_refusal() -> str | None:
    """A sentence when the database cannot be reached or lacks migrations; None when it is ready."""
    try:
        missing = migrations_missing()
    except DatabaseError as error:
        return f"The database cannot be reached: {' '.join(str(error).split())}."
    if not missing:
        return None
    return (
        f"The database lacks {len(missing)} migrations, the first is {missing[0]}: "
        "run manage.py migrate."
    )


def start_refusals() -> list[str]:
    """Sentences that say why this installation must not serve as it is; empty when it may."""
    refusal = migration_refusal()
    if refusal:
        return [refusal]
    return [
        f"{message.msg} {message.hint or ''}".strip() + f" ({message.id})"
        for message in run_checks(databases=["default"])
        if message.level >= ERROR
    ]
