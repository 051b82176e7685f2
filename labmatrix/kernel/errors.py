"""The one error that a person is shown, by page, tablet, API and command line alike."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


class UserError(Exception):
    """Something a person can put right.

    Attributes:
        code: stable dotted name, such as ``matrix.level-unknown``; scripts may rely on it.
        message: a sentence that says what was asked, what is the case, what would be allowed.
        facts: the values behind the sentence, JSON-ready.
    """

    status = 400

    def __init__(self, code: str, message: str, **facts: Any) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.facts: dict[str, Any] = facts

    def as_dict(self) -> dict[str, Any]:
        """The shape in which the API answers: {code, message, facts}."""
        return {"code": self.code, "message": self.message, "facts": self.facts}


class ShapeError(UserError):
    """The request or file cannot be understood (HTTP 400)."""


class SignInNeeded(UserError):
    """Nobody is signed in (HTTP 401)."""

    status = 401


class NotFound(UserError):
    """It is not there, or not yours; the two are not told apart (HTTP 404)."""

    status = 404


class RuleBroken(UserError):
    """Understood, but a rule of the laboratory forbids it (HTTP 409)."""

    status = 409


class TooLarge(UserError):
    """More bytes than the installation takes (HTTP 413)."""

    status = 413


class TooOften(UserError):
    """Asked again before its time (HTTP 429)."""

    status = 429


class RangeError(ShapeError):
    """A number outside its allowed range: names the argument, its value and the range."""

    def __init__(
        self, argument: str, value: object, allowed: str, *, code: str = "input.out-of-range"
    ) -> None:
        super().__init__(
            code,
            f"{argument} is {value!s}; allowed is {allowed}.",
            argument=argument,
            value=value if isinstance(value, int | float | str | bool) else str(value),
            allowed=allowed,
        )


def row_errors_as_facts(errors: Mapping[int, list[UserError]]) -> list[dict[str, Any]]:
    """Row-by-row errors of an import in row order, JSON-ready."""
    return [{"row": row, **error.as_dict()} for row in sorted(errors) for error in errors[row]]
