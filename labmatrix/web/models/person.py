"""The custom user model."""

from __future__ import annotations

import uuid
from typing import Any, ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models

from labmatrix.web.domain.choices import Theme
from labmatrix.web.domain.roles import Role
from labmatrix.web.domain.unit_systems import SI, SYSTEMS


class PersonManager(BaseUserManager["Person"]):
    """Creates people with a hashed password."""

    def create_user(self, username: str, password: str | None = None, **fields: Any) -> Person:
        """A person who can sign in with this name and password."""
        person = self.model(username=username, **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser):
    """Someone who signs in. The ledger knows the id only; the name can be erased."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    username = models.CharField(max_length=60, unique=True)
    display_name = models.CharField(max_length=120, blank=True)
    display_role = models.CharField(
        max_length=60, blank=True, default="", db_default="", help_text="As pages show it."
    )
    email = models.EmailField(blank=True)
    laboratory_role = models.CharField(
        max_length=12, choices=[(str(r), str(r)) for r in Role], default=str(Role.TECHNICIAN)
    )
    is_active = models.BooleanField(default=True)
    is_demo = models.BooleanField(default=False)
    joined_at = models.DateTimeField(auto_now_add=True)
    left_at = models.DateTimeField(null=True, blank=True)
    erased_at = models.DateTimeField(null=True, blank=True)
    unit_system = models.CharField(
        max_length=12, choices=[(name, name) for name in SYSTEMS], default=SI, db_default=SI
    )
    time_zone = models.CharField(
        max_length=60, blank=True, default="", db_default="", help_text="Empty: the laboratory's."
    )
    theme = models.CharField(
        max_length=6,
        blank=True,
        default="",
        choices=[(str(t), str(t)) for t in Theme],
        db_default="",
    )

    objects: ClassVar[PersonManager] = PersonManager()

    USERNAME_FIELD = "username"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    class Meta:
        ordering = ("username",)

    def __str__(self) -> str:
        return self.shown_name

    @property
    def shown_name(self) -> str:
        """What pages show: the display name, else the sign-in name."""
        return self.display_name or self.username

    @property
    def role(self) -> Role:
        """The person's part in the laboratory as a whole."""
        return Role(self.laboratory_role)
