"""Forms of the door and of a person's own page."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.contrib.auth.forms import AuthenticationForm

from labmatrix.web.domain.choices import Theme
from labmatrix.web.domain.unit_systems import SYSTEMS
from labmatrix.web.models import Laboratory, Person
from labmatrix.web.zones import zone_names

NAME_MISSING = "Type the name with which you sign in."
PASSWORD_MISSING = "Type your password."  # noqa: S105
NOT_AN_ADDRESS = "This is no e-mail address; one reads like name@floor.example."
NOT_OFFERED = "Choose one of the list."


class SignInForm(AuthenticationForm):
    """Name and password."""

    error_messages = {
        "invalid_login": "The name and password do not belong together.",
        "inactive": "This person has left the laboratory.",
    }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["username"].label = "Name"
        self.fields["username"].error_messages["required"] = NAME_MISSING
        self.fields["password"].error_messages["required"] = PASSWORD_MISSING


class ChoicesForm(forms.Form):
    """What a person decides about their own pages."""

    _SAY: ClassVar[dict[str, str]] = {
        "required": NOT_OFFERED,
        "invalid_choice": NOT_OFFERED,
        "max_length": "This is too long; allowed are %(limit_value)d characters.",
        "null_characters_not_allowed": "This holds a character that cannot be stored.",
    }
    display_name = forms.CharField(
        label="Name on pages",
        max_length=120,
        required=False,
        help_text="Empty for the name with which you sign in.",
        error_messages=_SAY,
    )
    display_role = forms.CharField(
        label="What you do here",
        max_length=60,
        required=False,
        help_text="Such as “doctoral student”; it stands beside your name.",
        error_messages=_SAY,
    )
    email = forms.EmailField(
        label="E-mail",
        required=False,
        help_text="Where the letter goes when you forget your password; nothing else is mailed.",
        error_messages={**_SAY, "invalid": NOT_AN_ADDRESS},
    )
    unit_system = forms.ChoiceField(
        label="Units",
        choices=[(name, name) for name in SYSTEMS],
        help_text="Numbers, tables and figures are shown in them; files say which they are in.",
        error_messages=_SAY,
    )
    time_zone = forms.ChoiceField(label="Time zone", required=False, error_messages=_SAY)
    theme = forms.ChoiceField(
        label="Light",
        required=False,
        choices=[("", "As this device has it"), *((str(t), t.words) for t in Theme)],
        error_messages=_SAY,
    )

    def __init__(self, laboratory: Laboratory, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        offered = [(name, name.replace("_", " ")) for name in zone_names()]
        self.fields["time_zone"].choices = [  # type: ignore[attr-defined]
            ("", f"The laboratory's: {laboratory.time_zone}"),
            *offered,
        ]

    @classmethod
    def filled(cls, data: Any, laboratory: Laboratory, person: Person) -> ChoicesForm:
        """The form with what the person chose before."""
        names = (
            "display_name", "display_role", "email", "unit_system", "time_zone", "theme",
        )  # fmt: skip
        return cls(laboratory, data, initial={name: getattr(person, name) for name in names})
