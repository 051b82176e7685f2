"""Forms with which people are let in and come in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from labmatrix.matrix.models import Programme
from labmatrix.web.domain.roles import Role
from labmatrix.web.domain.sign_in_name import NAME_MAX
from labmatrix.web.forms import NOT_AN_ADDRESS
from labmatrix.web.password_forms import TwicePassword

NO_PROGRAMME = "none yet"
DOES = {
    Role.LEAD: "lead: plans the matrix, judges, releases, lets people in",
    Role.MANAGER: "manager: runs machines, chambers, calibration",
    Role.TECHNICIAN: "technician: logs at the rig, uploads records",
    Role.SPONSOR: "sponsor: sees what is released of their own programme",
}


class AddressForm(forms.Form):
    """Where the invitation goes."""

    email = forms.EmailField(
        label="E-mail",
        max_length=254,
        error_messages={"invalid": NOT_AN_ADDRESS, "required": NOT_AN_ADDRESS},
    )


class InvitationForm(AddressForm):
    """Whom, as what, to which programme."""

    role = forms.ChoiceField(
        label="As", choices=[(str(r), DOES[r]) for r in Role], initial=str(Role.TECHNICIAN)
    )
    programme = forms.ChoiceField(
        label="Programme",
        required=False,
        help_text="They take part in it from the start, in the same role; others can follow.",
    )

    def __init__(self, programmes: Sequence[Programme], *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["programme"].choices = [  # type: ignore[attr-defined]
            ("", NO_PROGRAMME),
            *((p.code, f"{p.code}: {p.title}") for p in programmes),
        ]


class JoinForm(TwicePassword):
    """How someone new wants to be known, and the password."""

    username = forms.CharField(
        label="Sign-in name",
        max_length=NAME_MAX,
        help_text="Letters, digits, dots, hyphens. Only you and the leads see it.",
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
    )
    display_name = forms.CharField(
        label="Name on pages",
        max_length=120,
        required=False,
        help_text="Empty for the sign-in name.",
    )
    display_role = forms.CharField(
        label="What you do here",
        max_length=60,
        required=False,
        help_text="Such as “doctoral student”.",
    )
    field_order = ("username", "display_name", "display_role", "password", "again")
