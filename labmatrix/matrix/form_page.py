"""Show a form, do what it asks, or say in its own words why not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from labmatrix.kernel.errors import NotFound, UserError


def form_page(
    request: HttpRequest,
    form: forms.Form,
    write: Callable[[], tuple[str, str]],
    *,
    back: str,
    **context: Any,
) -> HttpResponse:
    """A page with one form.

    Args:
        request: a GET shows the form, a POST asks for what it says.
        form: bound to what came.
        write: does it, and returns what to say on which page.
        back: address of the page from which one came.
        context: ``title``, ``about``, ``button``, ``back_label`` and what else the page shows.
    """
    if request.method == "POST" and form.is_valid():
        try:
            words, then = write()
        except NotFound:
            raise
        except UserError as error:
            columns = getattr(form, "columns", {})
            form.add_error(columns.get(error.facts.get("column")), error.message)
        else:
            messages.success(request, words)
            return redirect(then)
    return render(request, "matrix/thing_form.html", {"form": form, "back": back, **context})
