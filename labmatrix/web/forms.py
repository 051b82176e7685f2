"""Forms of this room."""

from __future__ import annotations

from django.contrib.auth.forms import AuthenticationForm


class SignInForm(AuthenticationForm):
    """Name and password."""

    error_messages = {
        "invalid_login": "The name and password do not belong together.",
        "inactive": "This person has left the laboratory.",
    }
