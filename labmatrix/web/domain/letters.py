"""What the laboratory writes to people. Plain Python.

Texts of people stand in them as they are: a letter is plain text, and its subject is one line.
"""

from __future__ import annotations

from dataclasses import dataclass

from labmatrix.kernel.text import unseen_characters

SUBJECT_MAX = 120
INVITED = """{inviter} invites you to {laboratory}, as {role}{programme}.

Open this address within {days} days, choose your sign-in name and a password, and you are in:

{link}

The link works once. If you expected no invitation, leave this letter alone.
"""
BACK = """{inviter} lets you in again at {laboratory}.

Open this address within {days} days and choose a new password; your sign-in name stays {name}:

{link}

The link works once. If you expected no invitation, leave this letter alone.
"""
RESET = """Someone asked for a new password for {name} at {laboratory}.

If it was you, open this address within {hours} hours and choose one:

{link}

The link works once. If it was not you, leave this letter alone: the old password stays.
"""
CHANGED = """The password of {name} at {laboratory} was changed just now.

If that was not you, tell a lead of the laboratory at once.
"""


@dataclass(frozen=True)
class Letter:
    """A subject on one line, and the text."""

    subject: str
    text: str


def subject_line(text: str) -> str:
    """A subject of at most 120 characters: one line, nothing in it that cannot be seen."""
    blanks = " ".join(text.split())
    hidden = frozenset(unseen_characters(blanks))
    shown = "".join(character for character in blanks if character not in hidden)
    return shown if len(shown) <= SUBJECT_MAX else f"{shown[: SUBJECT_MAX - 2]} …"


def letter(subject: str, text: str, **values: object) -> Letter:
    """A letter with its places filled; each value is put on one line first."""
    filled = {
        name: subject_line(value) if isinstance(value, str) and name != "link" else value
        for name, value in values.items()
    }
    return Letter(subject_line(subject.format(**filled)), text.format(**filled))
