"""Where the rooms above hang their work, so that this room need not know them."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from labmatrix.kernel.errors import UserError


class JobRun(Protocol):
    """What running work is given."""

    @property
    def job_id(self) -> uuid.UUID:
        """Which job it is."""
        ...

    @property
    def payload(self) -> Mapping[str, Any]:
        """What was asked, as ids."""
        ...

    def report(self, fraction: float, words: str) -> None:
        """Show progress, renew the lease; raises when cancelled or when the lease is lost."""
        ...


class JobHandler(Protocol):
    """One kind of work."""

    def run(self, run: JobRun) -> Callable[[], None]:
        """Compute; what is returned writes the result, in the transaction that ends the job."""
        ...

    def refuse(self, payload: Mapping[str, Any], error: UserError) -> None:
        """Note that the work cannot be done, in the transaction that ends the job."""
        ...


@dataclass(frozen=True)
class Finding:
    """One thing wrong with the ledger, located."""

    seq: int
    where: str
    words: str


Mirror = Callable[[], Iterator[Finding]]
_handlers: dict[str, JobHandler] = {}
_mirrors: list[Mirror] = []


def handler_register(kind: str, handler: JobHandler) -> None:
    """Name who does a kind of work; called from an app's ``ready``."""
    _handlers[kind] = handler


def handler_get(kind: str) -> JobHandler:
    """Who does a kind of work.

    Raises:
        KeyError: nobody does; a fault of the deployment.
    """
    return _handlers[kind]


def mirror_register(mirror: Mirror) -> None:
    """Add a check of a table that repeats what the ledger says; called from ``ready``."""
    if mirror not in _mirrors:
        _mirrors.append(mirror)


def mirrors() -> tuple[Mirror, ...]:
    """The checks of tables that repeat the ledger."""
    return tuple(_mirrors)
