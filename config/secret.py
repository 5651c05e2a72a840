"""The secret key: made at first run, readable by its owner only, never in version control."""

from __future__ import annotations

import os
import secrets
import stat
import tempfile
from pathlib import Path

SHORTEST_KEY = 50


class UnsafeSecret(Exception):
    """The key file can be read by others or holds no key; the message says how to mend it."""


def read_or_make_secret(path: Path) -> str:
    """Return the key kept in `path`, making it (mode 600) when there is none yet.

    Raises
    ------
    UnsafeSecret
        If others can read the file, or it is too short to be a key.
    """
    if not path.exists():
        _make(path)
    mode = stat.S_IMODE(path.stat().st_mode)
    if mode & 0o077:
        raise UnsafeSecret(
            f"The secret key in {path} can be read by others (mode {mode:o}). Run: chmod 600 {path}"
        )
    key = path.read_text(encoding="ascii").strip()
    if len(key) < SHORTEST_KEY:
        raise UnsafeSecret(
            f"The file {path} holds {len(key)} characters where a secret key of at least {SHORTEST_KEY} was "
            "expected. Stop the program, remove it, and start again: a new key is made and everybody signs in anew."
        )
    return key


def _make(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    # Written whole under another name (mkstemp: mode 600) and then linked, which fails where a key has appeared
    # meanwhile: of several programs that start at once, none ever reads half a key.
    descriptor, written = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(64))
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(written, path)
        except FileExistsError:
            return
    finally:
        os.unlink(written)
