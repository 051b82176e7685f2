"""Pages of materials: lots, tests typed on them, and what the members of a series are made of."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views import View

from labmatrix.evidence.models import Record
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, UserError
from labmatrix.matrix.models import Programme
from labmatrix.matrix.selectors.programme import programme_get, programme_list_visible
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import NOT_YOURS, Action, allowed
from labmatrix.web.models import Person
from labmatrix.web.refused import refuse, sent, status_shown
from results.domain.materials.properties import MATERIAL_TESTS, typed_numbers
from results.domain.materials.resolve import design_of
from results.domain.mechanics.limits import DEFAULT_LIMITS
from results.material_forms import (
    LotChoiceForm,
    LotForm,
    TypedStrikeForm,
    TypedTestForm,
    lot_initial,
)
from results.material_tables import (
    lots_table,
    property_tables,
    said_value,
    samples_table,
)
from results.selectors.materials import lots_known
from specimens.domain.lot import KIND_WORDS, SPECIFIED
from specimens.domain.typed_test import TEST_WORDS, TESTS_OF_KIND, check_test, typed_said
from specimens.models import Lot, TypedTest
from specimens.selectors.access import programme_roles
from specimens.selectors.event import people_names
from specimens.selectors.event_page import UNNAMED
from specimens.selectors.lot import (
    lot_get,
    lot_list_visible,
    specimens_of_lot,
    typed_test_get,
    typed_test_list,
)
from specimens.services.lot import lot_add, lot_change
from specimens.services.typed_test import typed_test_add, typed_test_strike

ROWS_ON_A_PAGE = 100
_CAUTIONS = {"concrete": "test-to-failure", "mortar": "wet-cement", "bar": "test-to-failure",
             "fabric": "test-to-failure", "anchor": "dust"}  # fmt: skip
# The tests that come in as raw files, by kind of material.
_RECORDS = {"concrete": ("cylinder", "cube"), "mortar": ("cube",), "bar": ("bar",),
            "fabric": ("coupon",)}  # fmt: skip


def _keepers(actor: Person) -> list[Programme]:
    """Programmes in which the person adds lots."""
    roles = programme_roles(actor)
    mine = [c for c, role in roles.items() if allowed(role, Action.KEEP_MATERIALS)]
    return list(programme_list_visible(actor).filter(code__in=mine).order_by("code"))


class MaterialList(View):
    """Lots of the programmes whose work the person sees."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The page."""
        actor = actor_of(request)
        wanted = {name: request.GET.get(name, "") for name in ("programme", "kind")}
        lots = lot_list_visible(actor=actor, **wanted)
        page = Paginator(lots, ROWS_ON_A_PAGE).get_page(request.GET.get("page"))
        shown = list(page.object_list)
        context = {
            "page": page,
            "table": lots_table(shown, lots_known(shown)) if shown else None,
            "wanted": wanted,
            "kinds": KIND_WORDS,
            "query": f"programme={wanted['programme']}&kind={wanted['kind']}",
            "may_add": bool(_keepers(actor)),
        }
        return render(request, "results/material_list.html", context)


def _form_page(
    request: HttpRequest, form: forms.Form, write: Callable[[], str], **words: Any
) -> HttpResponse:
    """A form that writes through a service; its refusals stand above it."""
    if request.method == "POST" and form.is_valid():
        try:
            return redirect(write())
        except UserError as error:
            refuse(form, error)
    status = status_shown(request, form)
    return render(request, "results/material_form.html", {"form": form, **words}, status=status)


class LotNew(View):
    """Add a lot: first of which material, then what is known of it."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The choice, or the form."""
        return self._page(request)

    def post(self, request: HttpRequest) -> HttpResponse:
        """Add it."""
        return self._page(request)

    def _page(self, request: HttpRequest) -> HttpResponse:
        actor = actor_of(request)
        programmes = _keepers(actor)
        if not programmes:
            raise NotFound("access.not-yours", NOT_YOURS)
        back = {"back": reverse("results:materials"), "back_label": "Materials"}
        code, kind = request.GET.get("programme", ""), request.GET.get("kind", "")
        if not code or kind not in SPECIFIED:
            choice = LotChoiceForm(programmes, initial={"programme": code})
            context = {"form": choice, "title": "Add a lot, a batch or a heat", **back}
            return render(request, "results/material_choose.html", context)
        programme = programme_get(actor, code, Action.KEEP_MATERIALS)
        form = LotForm(kind, sent(request))

        def write() -> str:
            told = form.told()
            lot = lot_add(actor=actor, programme=programme, kind=kind, now=now(), **told)
            return reverse("results:lot", args=[lot.code])

        about = (
            "Events name it by its code. What a data sheet or the design says is used until tests "
            "have measured the same."
        )
        title = f"Add {KIND_WORDS[kind]}"
        return _form_page(request, form, write, title=title, button="Add it", about=about, **back)


class LotPage(View):
    """One lot: specified and measured properties, every test, and the specimens it is in."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        actor = actor_of(request)
        lot = lot_get(actor=actor, code=code)
        role = programme_roles(actor).get(lot.programme.code)
        known = lots_known([lot])[lot.code]
        typed = list(typed_test_list(lot))
        names = people_names({t.typed_by for t in typed} | _strikers(typed))
        records = Record.objects.filter(subject=lot.subject, test__in=MATERIAL_TESTS)
        may_log = allowed(role, Action.LOG_EVENT)
        context: dict[str, Any] = {
            "lot": lot,
            "kind_words": KIND_WORDS[lot.kind],
            "caution": _CAUTIONS[lot.kind],
            "properties": property_tables(known),
            "samples": samples_table(known),
            "design": design_of(known.pools, lot.code, DEFAULT_LIMITS["strain-cap"]),
            "typed": [_typed_row(lot, test, names) for test in typed],
            "records": records.order_by("received_at", "id"),
            "specimens": specimens_of_lot(lot),
            "tests": [(t, TEST_WORDS[t]) for t in TESTS_OF_KIND.get(lot.kind, ())],
            "uploads": _RECORDS.get(lot.kind, ()),
            "may_log": may_log,
            "may_keep": allowed(role, Action.KEEP_MATERIALS),
        }
        if lot.programme.is_invented:
            context["invented_data_notice"] = True
        return render(request, "results/material_lot.html", context)


def _strikers(typed: Sequence[TypedTest]) -> set[str]:
    return {t.struck_by.typed_by for t in typed if hasattr(t, "struck_by")}


def _typed_row(lot: Lot, test: TypedTest, names: dict[str, str]) -> dict[str, Any]:
    struck = getattr(test, "struck_by", None)
    return {
        "test": test,
        "words": TEST_WORDS[test.test],
        "given": typed_said(test.test, test.values),
        "found": [
            (number, said_value(number.name, number.value, 5))
            for number in typed_numbers(lot.kind, test.test, test.values)
        ],
        "who": names.get(test.typed_by, UNNAMED),
        "struck": struck,
        "struck_by": names.get(struck.typed_by, UNNAMED) if struck else "",
    }


class LotChange(View):
    """Change what is specified of a lot."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The form as it stands."""
        return self._page(request, code)

    def post(self, request: HttpRequest, code: str) -> HttpResponse:
        """Keep the change."""
        return self._page(request, code)

    def _page(self, request: HttpRequest, code: str) -> HttpResponse:
        actor = actor_of(request)
        lot = lot_get(actor=actor, code=code, action=Action.KEEP_MATERIALS)
        form = LotForm(lot.kind, sent(request), initial=lot_initial(lot), changes=True)
        back = reverse("results:lot", args=[lot.code])

        def write() -> str:
            why = form.cleaned_data["why"]
            lot_change(actor=actor, lot=lot, why=why, now=now(), **form.told())
            return back

        about = "The change enters the ledger: before, after, why. Predictions made before stay."
        return _form_page(
            request, form, write, title=f"Change {lot.code}", button="Keep the change",
            about=about, back=back, back_label=lot.code,
        )  # fmt: skip


class TypedTestNew(View):
    """Type what a test on a lot gave."""

    def get(self, request: HttpRequest, code: str, test: str) -> HttpResponse:
        """The empty form."""
        return self._page(request, code, test)

    def post(self, request: HttpRequest, code: str, test: str) -> HttpResponse:
        """Keep it."""
        return self._page(request, code, test)

    def _page(self, request: HttpRequest, code: str, test: str) -> HttpResponse:
        actor = actor_of(request)
        lot = lot_get(actor=actor, code=code, action=Action.LOG_EVENT)
        try:
            check_test(lot.kind, test)
        except UserError as error:
            raise NotFound("lot.test", error.message) from error
        form = TypedTestForm(test, sent(request))
        back = reverse("results:lot", args=[lot.code])

        def write() -> str:
            made = typed_test_add(actor=actor, lot=lot, test=test, now=now(), **form.told())
            messages.success(request, f"{made.mark} is kept, typed by you.")
            return back

        about = "It is marked as typed, with your name and the time, and can be struck, not edited."
        return _form_page(
            request, form, write, title=f"{TEST_WORDS[test].capitalize()} of {lot.code}",
            button="Keep what was typed", about=about, back=back, back_label=lot.code,
            caution=_CAUTIONS[lot.kind],
        )  # fmt: skip


class TypedTestStrike(View):
    """Take a typed test out of every number."""

    def get(self, request: HttpRequest, code: str, test_id: uuid.UUID) -> HttpResponse:
        """The form."""
        return self._page(request, code, test_id)

    def post(self, request: HttpRequest, code: str, test_id: uuid.UUID) -> HttpResponse:
        """Strike it."""
        return self._page(request, code, test_id)

    def _page(self, request: HttpRequest, code: str, test_id: uuid.UUID) -> HttpResponse:
        actor = actor_of(request)
        lot = lot_get(actor=actor, code=code, action=Action.LOG_EVENT)
        test = typed_test_get(lot=lot, test_id=test_id)
        form = TypedStrikeForm(sent(request))
        back = reverse("results:lot", args=[lot.code])

        def write() -> str:
            why = form.cleaned_data["why"]
            typed_test_strike(actor=actor, test=test, why=why, now=now())
            return back

        about = "It stays readable with who struck it and why, and counts in no number any more."
        return _form_page(
            request, form, write, title=f"Strike {test.mark} of {lot.code}", button="Strike it",
            about=about, back=back, back_label=lot.code,
        )  # fmt: skip
