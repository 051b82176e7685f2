"""The pictures of a run: their names, their folder, and one page to look through them all."""

from __future__ import annotations

import fcntl
import html
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import groupby
from pathlib import Path
from urllib.parse import quote

INDEX, _RUN, _LOCK = "index.html", ".run", ".screenshots.lock"
_HEAD = """<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Every page, as it was seen</title>
<style>
body { font: 16px/1.4 sans-serif; margin: 2rem; }
h2 { margin: 2.5rem 0 .5rem; font-size: 1.1rem; }
.row { display: flex; flex-wrap: wrap; gap: 1rem; align-items: start; }
figure { margin: 0; width: 20rem; }
img { width: 100%; max-height: 26rem; object-fit: cover; object-position: top; }
img { border: 1px solid #999; }
figcaption { font-size: .85rem; }
</style>
<h1>Every page, as it was seen</h1>
<p>By address; each picture leads to the whole of it.</p>
"""


def slug(path: str) -> str:
    """An address as part of a file name."""
    return re.sub(r"\W+", "-", path).strip("-") or "first-page"


def picture_name(path: str, who: str, scene: str) -> str:
    """A file name without its look and ending: address, person, state of things."""
    return f"{slug(path)}.{who}.{scene}"


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """One process at a time, of all that write pictures."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    with (folder.parent / _LOCK).open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def folder_begin(folder: Path, run: str) -> None:
    """Take away the pictures of another run, once, whichever process comes first."""
    with _alone(folder):
        mark = folder / _RUN
        if mark.exists() and mark.read_text(encoding="utf-8") == run:
            return
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
        mark.write_text(run, encoding="utf-8")


def index_write(folder: Path) -> None:
    """All pictures that are there so far, grouped by address; the last process has them all."""
    with _alone(folder):
        parts = [_HEAD]
        names = sorted(one.name for one in folder.glob("*.jpg"))
        for address, group in groupby(names, key=lambda name: name.split(".")[0]):
            parts.append(f'<h2>{html.escape(address)}</h2>\n<div class="row">\n')
            for name in group:
                words = html.escape(" · ".join(name.split(".")[1:-1]))
                parts.append(
                    f'<figure><a href="{quote(name)}"><img src="{quote(name)}" loading="lazy" '
                    f'alt="{words}"></a><figcaption>{words}</figcaption></figure>\n'
                )
            parts.append("</div>\n")
        (folder / INDEX).write_text("".join(parts), encoding="utf-8")
