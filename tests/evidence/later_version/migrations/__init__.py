"""The room's own migrations, and one more."""

from __future__ import annotations

from pathlib import Path

from labmatrix.evidence import migrations

__path__ = [*__path__, str(Path(migrations.__file__).parent)]
