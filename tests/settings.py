"""Settings of the tests: the real ones, in a home of their own that vanishes afterwards."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from pathlib import Path

_home = Path(tempfile.mkdtemp(prefix="strongfloor-test-"))
atexit.register(shutil.rmtree, _home, ignore_errors=True)
os.environ["STRONGFLOOR_HOME"] = str(_home)
for _name in ("STORAGE_URL", "BROKER_URL", "PUBLIC_URL", "BIND", "SECRET_KEY", "MAIL_URL"):
    os.environ.pop(f"STRONGFLOOR_{_name}", None)
# Playwright's synchronous interface keeps an event loop in the thread that also uses the database.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

from labmatrix.settings import *  # noqa: E402, F403
from labmatrix.settings import DATABASES  # noqa: E402

# A file, not memory: write-ahead log, immediate transactions and several processes as in service.
DATABASES["default"]["TEST"] = {
    "NAME": (
        str(_home / "test.sqlite3")
        if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3"
        else f"test_strongfloor_{os.getpid()}"
    )
}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # quick, for tests only
