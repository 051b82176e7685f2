"""Persistent things of this room, one noun a file."""

from labmatrix.web.models.laboratory import Laboratory
from labmatrix.web.models.person import Person
from labmatrix.web.models.reset import PasswordAsked
from labmatrix.web.models.token import ApiToken

__all__ = ["ApiToken", "Laboratory", "PasswordAsked", "Person"]
