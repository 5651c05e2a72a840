"""Photographs: read, made harmless, and kept under the data folder. Pure but for where they are kept.

What is kept is a new picture drawn from the pixels: turned upright, of a bounded size, JPEG, with nothing of the file
that came: no place, no camera, no time, no hidden data. A file keeps the name its own sum gives it, so that the same
picture is kept once, and a damaged one is known.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import struct
import warnings
from dataclasses import dataclass
from pathlib import Path

from PIL import ExifTags, Image, UnidentifiedImageError

MOST_BYTES = 15 * 1024 * 1024
MOST_PIXELS = 60_000_000  # more than a telephone takes; a small file that unpacks to more is refused unopened
LONGEST_SIDE = 1600
SMALL_SIDE = 480
SMALLEST_SIDE = 40
FORMATS = ("JPEG", "PNG", "WEBP")
QUALITY = 85
_NAME = re.compile(r"[0-9a-f]{64}\Z", re.ASCII)


class PhotoRefused(ValueError):
    """A file that is no photograph to keep; the message says why and what to do."""


@dataclass(frozen=True)
class Photo:
    """
    A picture as it is kept.

    Parameters
    ----------
    name : str
        SHA-256 of `content`, 64 hexadecimal digits.
    content, small : bytes
        The picture and a small one, JPEG.
    width, height : int
        Of the picture, pixels.
    """

    name: str
    content: bytes
    small: bytes
    width: int
    height: int


def read_photo(content: bytes) -> Photo:
    """
    Read a file that came as a photograph and draw it anew.

    Raises
    ------
    PhotoRefused
        If it is too large, no JPEG, PNG or WebP, damaged, or unpacks to too much.
    """
    if not content:
        raise PhotoRefused("This file is empty. Choose the picture again.")
    if len(content) > MOST_BYTES:
        raise PhotoRefused(
            f"This file has {len(content) / 1_048_576:.1f} MB; {MOST_BYTES // 1_048_576} MB is the most. "
            "Take or save it smaller."
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(content), formats=FORMATS) as opened:
                _check_sides(*opened.size)
                opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
                drawn = _upright(_on_white(opened), opened)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise PhotoRefused(_TOO_MUCH) from None
    except UnidentifiedImageError:
        raise PhotoRefused(
            "This is no JPEG, PNG or WebP picture. Save it as one of these and try again."
        ) from None
    except PhotoRefused:
        raise
    except _BROKEN:
        raise PhotoRefused(
            "This picture is damaged and cannot be opened. Choose it again, or another."
        ) from None
    drawn.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS)
    kept = _jpeg(drawn)
    width, height = drawn.size
    drawn.thumbnail((SMALL_SIDE, SMALL_SIDE), Image.Resampling.LANCZOS)
    return Photo(hashlib.sha256(kept).hexdigest(), kept, _jpeg(drawn), width, height)


# What the library raises over files that are broken in one place or another.
_BROKEN = (
    OSError, ValueError, SyntaxError, EOFError, IndexError, TypeError, KeyError, ArithmeticError, struct.error,
)  # fmt: skip
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_TOO_MUCH = (
    f"This picture unpacks to more than {MOST_PIXELS // 1_000_000} million pixels. "
    "Save it smaller and try again."
)


def _check_sides(width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        raise PhotoRefused(_TOO_MUCH)
    if min(width, height) < SMALLEST_SIDE:
        raise PhotoRefused(
            f"This picture is {width} by {height} pixels; nothing can be seen on fewer than {SMALLEST_SIDE} a side."
        )


def _upright(drawn: Image.Image, opened: Image.Image) -> Image.Image:
    """Turn pixels as the file's own note says; a note that cannot be read leaves a sound picture as it lies."""
    try:
        turn = _TURNS.get(opened.getexif().get(ExifTags.Base.Orientation, 1))
    except _BROKEN:
        return drawn
    return drawn if turn is None else drawn.transpose(turn)


def _on_white(picture: Image.Image) -> Image.Image:
    """Return new pixels of a picture, what is clear made white; nothing else of the file comes along."""
    if "A" in picture.getbands() or "transparency" in picture.info:
        layered = picture.convert("RGBA")
        drawn = Image.new("RGB", layered.size, "white")
        drawn.paste(layered, mask=layered.getchannel("A"))
        return drawn
    plain = picture.convert("RGB")
    drawn = Image.new("RGB", plain.size)
    drawn.paste(plain)
    return drawn


def _jpeg(picture: Image.Image) -> bytes:
    written = io.BytesIO()
    picture.save(written, "JPEG", quality=QUALITY, optimize=True)
    return written.getvalue()


def keep(photo: Photo, folder: Path) -> None:
    """Write a picture and its small one under a folder; both stand whole on the disk when this returns."""
    for name, content in ((photo.name, photo.content), (f"{photo.name}-small", photo.small)):
        file = _file(folder, name)
        if file.exists():
            continue
        file.parent.mkdir(parents=True, exist_ok=True)
        part = file.with_name(f"{file.name}.{os.getpid()}.part")
        try:
            with part.open("wb") as opened:
                opened.write(content)
                opened.flush()
                os.fsync(opened.fileno())
            part.replace(file)
        finally:
            part.unlink(missing_ok=True)


def kept_file(folder: Path, name: str, *, small: bool = False) -> Path | None:
    """Return where a picture stands; None where there is none of that name or the name is none."""
    if not _NAME.match(name):
        return None
    file = _file(folder, f"{name}-small" if small else name)
    return file if file.is_file() else None


def kept_names(folder: Path) -> list[str]:
    """Return the names of all pictures under a folder, in order; small ones belong to theirs."""
    return sorted(file.stem for file in folder.glob("[0-9a-f][0-9a-f]/*.jpg") if _NAME.match(file.stem))


def is_sound(file: Path) -> bool:
    """Say whether a picture is as it was kept: its name is the sum of what is in it."""
    return hashlib.sha256(file.read_bytes()).hexdigest() == file.stem


def _file(folder: Path, name: str) -> Path:
    return folder / name[:2] / f"{name}.jpg"
