"""One file that holds a back-up: a plain tar, closed by the digest of all bytes before it.

Any tar program lists and unpacks it. The manifest is its last member, because only then are the
digests of the others known.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import re
import tarfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, BinaryIO, cast

from labmatrix.kernel.errors import ShapeError

FORMAT = 1
MANIFEST = "manifest.json"
_CHUNK = 1 << 20
_FOOTER = re.compile(rb"\nstrongfloor back-up, sha256 ([0-9a-f]{64})\n")
_FOOTER_BYTES = 94

CUT_SHORT = "{path} is not a whole back-up: it does not end with the digest that closes one."
DAMAGED = "{path} is damaged: {where} no longer gives its digest. Nothing was restored."
OTHER_FORMAT = "{path} has format {format}; this version reads formats up to {allowed}."


class _Digest(io.RawIOBase):
    """Passes bytes on to or from a stream and digests them."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self.digest = hashlib.sha256()

    def write(self, data: Any) -> int:
        """Write and digest."""
        self.digest.update(data)
        return self._stream.write(data)

    def read(self, size: int = -1) -> bytes:
        """Read and digest."""
        data = self._stream.read(size)
        self.digest.update(data)
        return data


class ArchiveWriter:
    """Writes members one after the other; ``close`` adds the manifest and the digest."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._whole = _Digest(stream)
        self._tar = tarfile.open(fileobj=cast(Any, self._whole), mode="w|")  # noqa: SIM115
        self._members: dict[str, dict[str, Any]] = {}

    def add(self, name: str, source: BinaryIO, size: int) -> str:
        """Add ``size`` bytes of a stream as a member; gives their SHA-256."""
        reading = _Digest(source)
        info = tarfile.TarInfo(name)
        info.size, info.mode = size, 0o600
        self._tar.addfile(info, cast(Any, reading))
        sha256 = reading.digest.hexdigest()
        self._members[name] = {"bytes": size, "sha256": sha256}
        return sha256

    def close(self, manifest: Mapping[str, Any]) -> None:
        """Close with what the archive holds."""
        text = json.dumps({**manifest, "format": FORMAT, "members": self._members}, indent=1)
        data = text.encode()
        info = tarfile.TarInfo(MANIFEST)
        info.size, info.mode = len(data), 0o600
        self._tar.addfile(info, io.BytesIO(data))
        self._tar.close()
        digest = self._whole.digest.hexdigest()
        self._stream.write(f"\nstrongfloor back-up, sha256 {digest}\n".encode())


class Archive:
    """A back-up whose every byte was checked."""

    def __init__(self, tar: tarfile.TarFile, manifest: dict[str, Any]) -> None:
        self._tar = tar
        self._places = {info.name: info for info in tar.getmembers()}
        self.manifest = manifest

    @contextmanager
    def member(self, name: str) -> Iterator[IO[bytes]]:
        """The bytes of a member, to read."""
        stream = self._tar.extractfile(self._places[name])
        if stream is None:
            raise KeyError(name)
        with stream:
            yield stream


@contextmanager
def archive_open(path: Path) -> Iterator[Archive]:
    """Check a back-up from its first byte to its last, then read from it.

    Raises:
        ShapeError: ``backup.missing``, ``backup.cut-short``, ``backup.damaged`` or
            ``backup.format``.
    """
    if not path.is_file():
        raise ShapeError("backup.missing", f"There is no file {path}.", path=str(path))
    with path.open("rb") as stream:
        _check_bytes(path, stream)
        stream.seek(0)
        with tarfile.open(fileobj=stream, mode="r:") as tar:
            manifest = _manifest(tar)
            if manifest["format"] > FORMAT:
                facts = {"format": manifest["format"], "allowed": FORMAT}
                raise ShapeError("backup.format", OTHER_FORMAT.format(path=path, **facts), **facts)
            yield Archive(tar, manifest)


def _check_bytes(path: Path, stream: BinaryIO) -> None:
    size = stream.seek(0, os.SEEK_END)
    start = max(size - _FOOTER_BYTES, 0)
    stream.seek(start)
    footer = _FOOTER.fullmatch(stream.read())
    if footer is None:
        raise ShapeError("backup.cut-short", CUT_SHORT.format(path=path), path=str(path))
    if _digest_of(stream, 0, start) != footer[1].decode():
        where = _damaged_part(stream)
        raise ShapeError(
            "backup.damaged", DAMAGED.format(path=path, where=where), path=str(path), where=where
        )


def _digest_of(stream: BinaryIO, start: int, length: int) -> str:
    stream.seek(start)
    digest, left = hashlib.sha256(), length
    while left and (chunk := stream.read(min(_CHUNK, left))):
        digest.update(chunk)
        left -= len(chunk)
    return digest.hexdigest()


def _damaged_part(stream: BinaryIO) -> str:
    """Which member of a damaged archive differs from the manifest, as far as can be told."""
    stream.seek(0)
    try:
        with tarfile.open(fileobj=stream, mode="r:") as tar:
            told = _manifest(tar)["members"]
            places = {info.name: (info.offset_data, info.size) for info in tar.getmembers()}
    except (tarfile.TarError, ValueError, KeyError, TypeError, AttributeError):
        return "its list of contents"
    for name, member in told.items():
        if name not in places:
            return f"the part {name}"
        if _digest_of(stream, *places[name]) != member["sha256"]:
            return f"the part {name}"
    return "a byte between its parts"


def _manifest(tar: tarfile.TarFile) -> dict[str, Any]:
    stream = tar.extractfile(MANIFEST)
    if stream is None:
        raise KeyError(MANIFEST)
    manifest: dict[str, Any] = json.loads(stream.read())
    return manifest
