"""Forms around passwords; what a password may be, the services say."""

from __future__ import annotations

from typing import Any, cast

from django import forms

from labmatrix.web.forms import NOT_AN_ADDRESS, PASSWORD_MISSING

NOT_THE_SAME = "The two passwords differ; type the same one twice."
HELP = "At least 12 characters; no common password, nothing like your name or address."
ADDRESS_MISSING = "Type the e-mail address that stands on your page."


def _password(label: str, *, purpose: str, **more: Any) -> forms.CharField:
    return forms.CharField(
        label=label,
        strip=False,
        max_length=1000,
        widget=forms.PasswordInput(attrs={"autocomplete": purpose}),
        error_messages={"required": PASSWORD_MISSING},
        **more,
    )


class TwicePassword(forms.Form):
    """A new password, typed twice so that a slip of the finger locks nobody out."""

    password = _password("New password", purpose="new-password")
    again = _password("Once more", purpose="new-password")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["password"].help_text = HELP

    def clean(self) -> dict[str, Any]:
        """Both the same."""
        found = cast(dict[str, Any], super().clean())
        if "password" in found and "again" in found and found["password"] != found["again"]:
            self.add_error("again", NOT_THE_SAME)
        return found


class PasswordChangeForm(TwicePassword):
    """The present password first."""

    present = _password("Present password", purpose="current-password")
    field_order = ("present", "password", "again")


class ForgottenForm(forms.Form):
    """Where the letter goes."""

    address = forms.EmailField(
        label="E-mail",
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "email"}),
        error_messages={"required": ADDRESS_MISSING, "invalid": NOT_AN_ADDRESS},
    )
