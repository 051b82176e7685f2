"""One rule for a form that is shown again: what was typed stays, and the status says why.

What cannot be understood answers 400; what a rule of the laboratory forbids, or somebody changed
meanwhile, the status of that error, such as 409. What is not there, or not yours, is no form but
the page that says so.
"""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpRequest, QueryDict

from labmatrix.kernel.errors import NotFound, ShapeError, UserError

_REFUSED = "refused-"


def sent(request: HttpRequest) -> QueryDict | None:
    """What a form was sent with, even if it is empty; None where it is only looked at."""
    return request.POST if request.method == "POST" else None


def refuse(form: BaseForm, error: UserError, field: str | None = None) -> None:
    """Say a refusal at a field, or above the form.

    Raises:
        NotFound: handed on.
    """
    if isinstance(error, NotFound):
        raise error
    form.add_error(field, ValidationError(error.message, code=f"{_REFUSED}{error.status}"))


def status_shown(request: HttpRequest, form: BaseForm) -> int:
    """The status of a page that shows a form: 200 when it is looked at, else why it is refused."""
    if request.method != "POST":
        return 200
    codes = [str(e.code) for found in form.errors.as_data().values() for e in found]
    statuses = [int(c.removeprefix(_REFUSED)) for c in codes if c.startswith(_REFUSED)]
    return max(statuses, default=ShapeError.status)
