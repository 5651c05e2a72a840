"""Photographs in a backup: one file of them beside the copy of the register, and putting them back.

A picture is named by its own sum (`stock/photos.py`), is written before the row that names it, and never goes: so
pictures copied after the rows are all there, and putting them back adds what is missing and overwrites nothing.
"""

from __future__ import annotations

import hashlib
import os
import zipfile
from pathlib import Path
from typing import Any

from django.conf import settings

from stock import photos

# Read at once when a picture is checked; none is larger.
MOST_OF_ONE = 2 * photos.MOST_BYTES


class PhotosUnsound(Exception):
    """Pictures that cannot be copied or put back; the text is for the person who asked."""


def folder() -> Path:
    """Return where the photographs are kept."""
    return Path(settings.DATA_DIR) / "media" / "photos"


def photos_of(file: Path) -> Path:
    """Return where the photographs of a backup file lie."""
    return file.with_name(f"{file.name}.photos.zip")


def copy_photos(file: Path) -> dict[str, Any]:
    """
    Copy all photographs beside the backup `file`, opened and checked, and return what its manifest says of them.

    Without photographs nothing is written.

    Raises
    ------
    PhotosUnsound
        A picture is not as it was kept.
    """
    names = photos.kept_names(folder())
    if not names:
        return {"photos": 0, "photos_sha256": ""}
    copy = photos_of(file)
    part = copy.with_name(f"{copy.name}.part")
    try:
        part.unlink(missing_ok=True)
        with (
            os.fdopen(os.open(part, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600), "w+b") as opened,
            zipfile.ZipFile(opened, "w", zipfile.ZIP_STORED) as packed,
        ):
            for name in names:
                kept = photos.kept_file(folder(), name)
                if kept is None or not photos.is_sound(kept):
                    raise PhotosUnsound(
                        f"Photograph {name} is damaged. Put it back from an older backup first."
                    )
                packed.write(kept, f"{name}.jpg")
                small = photos.kept_file(folder(), name, small=True)
                if small is not None:
                    packed.write(small, f"{name}-small.jpg")
        part.replace(copy)
    finally:
        part.unlink(missing_ok=True)
    return {"photos": len(names), "photos_sha256": _sum_of(copy)}


def check_photos(file: Path, manifest: dict[str, Any]) -> None:
    """
    Hold the photographs beside a backup against its manifest.

    Raises
    ------
    PhotosUnsound
        They are missing or not as they were copied.
    """
    if not manifest.get("photos"):
        return
    copy = photos_of(file)
    if not copy.is_file():
        raise PhotosUnsound(f"{copy.name} is missing beside {file.name}: the photographs are in it.")
    if _sum_of(copy) != manifest.get("photos_sha256"):
        raise PhotosUnsound(
            f"{copy.name} is not as it was made: its SHA-256 differs from the manifest's. Use another."
        )


def put_back_photos(file: Path, manifest: dict[str, Any]) -> int:
    """Put back what is missing or damaged of the photographs of a backup that was checked; return how many."""
    if not manifest.get("photos"):
        return 0
    count = 0
    with zipfile.ZipFile(photos_of(file)) as packed:
        held = set(packed.namelist())
        for entry in sorted(held):
            name = entry.removesuffix(".jpg")
            if name.endswith("-small") or f"{name}-small.jpg" not in held:
                continue
            kept = photos.kept_file(folder(), name)
            if kept is not None and photos.is_sound(kept):
                continue
            if kept is not None:
                kept.unlink()
            content = _read(packed, entry)
            if hashlib.sha256(content).hexdigest() != name:
                raise PhotosUnsound(f"Photograph {name} is not what its name says. Use another backup.")
            photos.keep(photos.Photo(name, content, _read(packed, f"{name}-small.jpg"), 0, 0), folder())
            count += 1
    return count


def _read(packed: zipfile.ZipFile, entry: str) -> bytes:
    if packed.getinfo(entry).file_size > MOST_OF_ONE:
        raise PhotosUnsound(
            f"{entry} in the backup is larger than any photograph kept here. Use another backup."
        )
    with packed.open(entry) as opened:
        return opened.read(MOST_OF_ONE)


def _sum_of(file: Path) -> str:
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()
