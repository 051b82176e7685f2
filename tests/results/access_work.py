"""Who gets what of work in progress: status by role. Lists leave out what is not the person's."""

from __future__ import annotations

from tests.specimens.access_table import Access

_ANYONE = (200, 200, 200, 200, 200)
_WORK = (200, 200, 200, 404, 404)

ACCESS: tuple[Access, ...] = (
    Access("GET", "/work/", (*_ANYONE, 302)),
    Access("GET", "/work/state/", (*_ANYONE, 302)),
    Access("GET", "/records/work/", (*_ANYONE, 302)),
    Access("GET", "/records/{record}/work/", (*_WORK, 302)),
    Access("GET", "/series/{series}/work/", (*_WORK, 302)),
)
