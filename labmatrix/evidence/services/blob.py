"""Keep bytes as they came, by their hash."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import BinaryIO, cast

from django.conf import settings
from django.core.files.base import File
from django.core.files.storage import Storage, storages

from labmatrix.evidence.models import Blob
from labmatrix.kernel.errors import RuleBroken, TooLarge

_CHUNK = 1 << 20


def blob_storage() -> Storage:
    """The storage that holds the bytes."""
    return storages["blobs"]


def _hash(stream: BinaryIO) -> tuple[str, int]:
    digest, size = hashlib.sha256(), 0
    while chunk := stream.read(_CHUNK):
        digest.update(chunk)
        size += len(chunk)
    return digest.hexdigest(), size


def _is_whole(storage: Storage, path: str, sha256: str) -> bool:
    if not storage.exists(path):
        return False
    with storage.open(path, "rb") as stored:
        return _hash(cast(BinaryIO, stored))[0] == sha256


def blob_write(*, sha256: str, stream: BinaryIO) -> bool:
    """Keep a seekable stream's bytes, whose hash is known; True when the store lacked them.

    A file left half-written by a crash is recognised by its hash and replaced.
    """
    storage, path = blob_storage(), Blob(sha256=sha256).path
    if _is_whole(storage, path, sha256):
        return False
    storage.delete(path)
    stream.seek(0)
    name = storage.save(path, File(stream))
    if name != path:  # another process stored the same bytes meanwhile
        storage.delete(name)
    return True


def blob_put(*, stream: BinaryIO, now: datetime) -> Blob:
    """Store a seekable stream's bytes; the same bytes are stored once.

    Raises:
        TooLarge: ``record.too-large``.
    """
    stream.seek(0)
    sha256, size = _hash(stream)
    if size > settings.RECORD_MAX_BYTES:
        raise TooLarge(
            "record.too-large",
            f"The file has {size} bytes; this installation takes {settings.RECORD_MAX_BYTES}.",
            size=size,
            allowed=settings.RECORD_MAX_BYTES,
        )
    blob_write(sha256=sha256, stream=stream)
    return Blob.objects.get_or_create(
        sha256=sha256, defaults={"size_bytes": size, "stored_at": now}
    )[0]


def blob_stream(blob: Blob) -> BinaryIO:
    """The bytes, opened to read; whoever asks closes them.

    Raises:
        RuleBroken: ``blob.missing`` when the store has lost them.
    """
    storage = blob_storage()
    if not storage.exists(blob.path):
        raise RuleBroken(
            "blob.missing",
            f"The store has no file {blob.sha256}; restore it from the back-up.",
            sha256=blob.sha256,
        )
    return cast(BinaryIO, storage.open(blob.path, "rb"))


@contextmanager
def blob_open(blob: Blob) -> Iterator[BinaryIO]:
    """The bytes, to read.

    Raises:
        RuleBroken: ``blob.missing`` when the store has lost them.
    """
    with blob_stream(blob) as stream:
        yield stream


def blob_is_intact(blob: Blob) -> bool:
    """Whether the store still holds these very bytes."""
    return _is_whole(blob_storage(), blob.path, blob.sha256)
