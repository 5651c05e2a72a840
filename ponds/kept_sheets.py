"""A checked sheet waits here between its check and its writing, so that it need not be chosen twice.

Files lie in the data folder, named by a fresh UUID, and are gone after an hour or once they are written.
Who may write one is known by the session that holds its name.
"""

from __future__ import annotations

import time
import uuid
from pathlib import Path

from django.conf import settings

LONGEST_SECONDS = 3600


def keep(content: bytes) -> str:
    """Keep a file and return the token that names it; old ones are cleared away."""
    folder = _folder()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    for path in folder.iterdir():
        if time.time() - path.stat().st_mtime > LONGEST_SECONDS:
            path.unlink(missing_ok=True)
    token = str(uuid.uuid4())
    path = folder / token
    path.touch(mode=0o600)
    path.write_bytes(content)
    return token


def take(token: str) -> bytes | None:
    """Return a kept file and forget it; None where it is gone or was never there."""
    try:
        path = _folder() / str(uuid.UUID(token))
        if time.time() - path.stat().st_mtime > LONGEST_SECONDS:
            path.unlink(missing_ok=True)
            return None
        content = path.read_bytes()
        path.unlink(missing_ok=True)
    except (ValueError, OSError):
        return None
    return content


def _folder() -> Path:
    return Path(settings.DATA_DIR) / "checked_sheets"
