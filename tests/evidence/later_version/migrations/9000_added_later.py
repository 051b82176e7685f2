"""A column that the version of the back-up did not have."""

from __future__ import annotations

from pathlib import Path

from django.db import migrations, models

from labmatrix.evidence import migrations as own

_last = max(path.stem for path in Path(str(own.__file__)).parent.glob("[0-9]*.py"))


class Migration(migrations.Migration):
    dependencies = [("evidence", _last)]
    operations = [
        migrations.AddField(
            "subject",
            "added_later",
            models.CharField(max_length=20, default="as before", db_default="as before"),
        )
    ]
