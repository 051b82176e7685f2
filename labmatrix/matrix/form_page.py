"""Show a form, do what it asks, or say in its own words why not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from labmatrix.kernel.errors import UserError
from labmatrix.web.refused import refuse, status_shown

NO_FACTORS = "The series has no factors yet. Add them first, or upload a matrix that brings them."


def form_page(
    request: HttpRequest,
    form: forms.Form,
    write: Callable[[], tuple[str, str]],
    *,
    back: str,
    template: str = "matrix/thing_form.html",
    asks_more: bool = False,
    **context: Any,
) -> HttpResponse:
    """A page with one form; a refused one is shown again, as what was typed, with its status.

    Args:
        request: a GET shows the form, a POST asks for what it says.
        form: bound to what came.
        write: does it, and returns what to say on which page.
        back: address of the page from which one came.
        template: of the page.
        asks_more: whether the POST only asks for more rows to fill in.
        context: ``title``, ``about``, ``button``, ``back_label`` and what else the page shows;
            ``first`` is said in place of the form where something else has to come first.
    """
    if request.method == "POST" and not asks_more and form.is_valid():
        try:
            words, then = write()
        except UserError as error:
            columns = getattr(form, "columns", {})
            refuse(form, error, columns.get(error.facts.get("column")))
        else:
            messages.success(request, words)
            return redirect(then)
    status = 200 if asks_more else status_shown(request, form)
    return render(request, template, {"form": form, "back": back, **context}, status=status)
