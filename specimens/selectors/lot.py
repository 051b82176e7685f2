"""Read lots, the tests typed on them, and which specimens they are in."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, QuerySet

from labmatrix.kernel.errors import NotFound
from labmatrix.kernel.text import check_storable
from labmatrix.web.domain.roles import NOT_YOURS, Action, allowed, require
from labmatrix.web.models import Person
from specimens.domain.life_read import life_from
from specimens.domain.lot import ANCHOR, BAR, CONCRETE, FABRIC, MORTAR
from specimens.models import Lot, Specimen, SpecimenState, TypedTest
from specimens.selectors.access import programme_roles, subject_role


def lot_list_visible(*, actor: Person, programme: str = "", kind: str = "") -> QuerySet[Lot]:
    """Lots of the programmes whose work the person sees, with ``typed`` tests that stand.

    Raises:
        ShapeError: ``input.text``.
    """
    check_storable([programme, kind], argument="the filter")
    codes = [c for c, role in programme_roles(actor).items() if allowed(role, Action.SEE_WORK)]
    found = Lot.objects.filter(programme__code__in=codes).select_related("programme")
    if programme:
        found = found.filter(programme__code=programme)
    if kind:
        found = found.filter(kind=kind)
    stands = Q(typed_tests__strikes__isnull=True, typed_tests__struck_by__isnull=True)
    return found.annotate(typed=Count("typed_tests", filter=stands)).order_by("kind", "code")


def lot_get(*, actor: Person, code: str, action: Action = Action.SEE_WORK) -> Lot:
    """A lot by its code, with subject and programme.

    Raises:
        NotFound: not there, not theirs, or beyond their role.
    """
    check_storable(code, argument="code")
    lot = Lot.objects.filter(code=code).select_related("subject", "programme").first()
    if lot is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    require(subject_role(lot.subject, programme_roles(actor), actor), action)
    return lot


def typed_test_get(*, lot: Lot, test_id: uuid.UUID | str) -> TypedTest:
    """A typed test of a lot that the caller may see.

    Raises:
        NotFound: not one of the lot.
    """
    test = TypedTest.objects.filter(lot=lot, pk=test_id).select_related("lot__programme").first()
    if test is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return test


def typed_test_list(lot: Lot) -> QuerySet[TypedTest]:
    """Every test typed on a lot, struck ones too, each with what struck it."""
    return (
        TypedTest.objects.filter(lot=lot, strikes__isnull=True)
        .select_related("struck_by")
        .order_by("test", "tested_on", "mark", "typed_at")
    )


@dataclass(frozen=True)
class LotsUsed:
    """Codes that a specimen's events name, by kind of material, in the order of first use."""

    by_kind: Mapping[str, tuple[str, ...]]

    def codes(self) -> tuple[str, ...]:
        """All of them."""
        return tuple(code for codes in self.by_kind.values() for code in codes)


def lots_named(folded_life: Mapping[str, Any]) -> LotsUsed:
    """Lots, batches and heats in a specimen, as its state was kept.

    Args:
        folded_life: ``SpecimenState.folded["life"]``.
    """
    life = life_from(folded_life)
    fabrics = [layer.lot for layer in life.layers if layer.kind == "fabric"]
    mortars = [layer.lot for layer in life.layers if layer.kind != "fabric"]
    named = {
        CONCRETE: [life.batch],
        BAR: [life.bars or ""],
        FABRIC: fabrics,
        MORTAR: mortars,
        ANCHOR: life.anchor_lots,
    }
    return LotsUsed(
        {kind: tuple(dict.fromkeys(c for c in codes if c)) for kind, codes in named.items()}
    )


def specimens_of_lot(lot: Lot) -> list[str]:
    """Codes of the specimens of the programme whose events name the lot, in order."""
    states = (
        SpecimenState.objects.filter(specimen__cell__series__programme=lot.programme)
        .order_by("specimen__code")
        .values_list("specimen__code", "folded")
    )
    return [
        code
        for code, folded in states
        if folded and lot.code in lots_named(folded["life"]).by_kind.get(lot.kind, ())
    ]


def lots_shown(specimen: Specimen) -> list[tuple[str, list[tuple[str, bool]]]]:
    """Kind of material, and each code that events name with whether it is kept as a lot.

    Args:
        specimen: with ``state`` and ``subject``.
    """
    used = lots_named(specimen.state.folded["life"])
    kept = set(
        Lot.objects.filter(
            code__in=used.codes(), programme__code=specimen.subject.programme_code
        ).values_list("code", flat=True)
    )
    return [(k, [(c, c in kept) for c in codes]) for k, codes in used.by_kind.items() if codes]
