"""The secret key: made at first run, readable by its owner only, never in version control."""

import os
import secrets
import stat
from pathlib import Path


class UnsafeSecret(Exception):
    """The key file can be read by others; the message says how to mend it."""


def read_or_make_secret(path: Path) -> str:
    """Return the key kept in `path`, making it (mode 600) when there is none yet."""
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError:
        mode = stat.S_IMODE(path.stat().st_mode)
        if mode & 0o077:
            raise UnsafeSecret(
                f"The secret key in {path} can be read by others (mode {mode:o}). Run: chmod 600 {path}"
            ) from None
        return path.read_text(encoding="ascii").strip()
    key = secrets.token_urlsafe(64)
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(key)
    return key
