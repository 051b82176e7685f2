"""The ledger as this room sees it: the room above, which keeps it, names itself at the start."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol


class Append(Protocol):
    """Adds one fact at the end of the chain, inside a transaction of the keeper's."""

    def __call__(
        self, *, actor: str, kind: str, subject: str, body: Mapping[str, Any], now: datetime
    ) -> object:
        """Write it."""
        ...


@dataclass(frozen=True)
class Keeper:
    """Who keeps the ledger."""

    transaction: Callable[[], AbstractContextManager[None]]
    append: Append


_keepers: list[Keeper] = []


def keeper_register(keeper: Keeper) -> None:
    """Name who keeps the ledger; called from an app's ``ready``."""
    _keepers[:] = [keeper]


def fact_transaction() -> AbstractContextManager[None]:
    """A transaction in which facts may be added."""
    return _keepers[0].transaction()


def person_fact(
    *, actor: str, person: str, what: str, now: datetime, more: Mapping[str, Any] | None = None
) -> None:
    """Add a fact about a person; people are opaque ids here, never names or addresses.

    Args:
        actor: id of who did it.
        person: id of whom it concerns.
        what: one word or few, such as ``joined``, ``left``, ``password changed``.
        now: when.
        more: what else belongs to it, without names.
    """
    _keepers[0].append(
        actor=actor,
        kind="person",
        subject=f"person/{person}",
        body={"what": what, **(more or {})},
        now=now,
    )
