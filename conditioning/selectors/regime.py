"""Read exposure protocols."""

from __future__ import annotations

from django.db.models import QuerySet

from conditioning.models import Regime
from labmatrix.kernel.errors import NotFound
from labmatrix.web.domain.roles import NOT_YOURS, Action, require
from labmatrix.web.models import Person


def regime_list(*, actor: Person) -> QuerySet[Regime]:
    """The laboratory's regimes.

    Raises:
        NotFound: beyond the person's role.
    """
    require(actor.role, Action.SEE_MACHINES)
    return Regime.objects.order_by("code")


def regime_get(*, actor: Person, code: str, action: Action = Action.SEE_MACHINES) -> Regime:
    """A regime by its code.

    Raises:
        NotFound: not there, or beyond the person's role.
    """
    require(actor.role, action)
    regime = Regime.objects.filter(code=code).first()
    if regime is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return regime
