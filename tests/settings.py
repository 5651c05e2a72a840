"""The farm's settings with what tests need: a folder of their own, plain static files, quick passwords."""

import atexit
import os
import shutil
import tempfile

if "PYTEST_OWN_DATA" not in os.environ:
    folder = tempfile.mkdtemp(prefix="scutebook-tests-")
    os.environ["SCUTEBOOK_DATA"] = folder
    os.environ["PYTEST_OWN_DATA"] = str(os.getpid())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
# With the hashed names of production every page would need `collectstatic` first.
os.environ["SCUTEBOOK_STATIC"] = "django.contrib.staticfiles.storage.StaticFilesStorage"

from config.settings import *  # noqa: F403

# Real hashes take a third of a second each, on purpose; the tests sign in by the hundred.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
WHITENOISE_AUTOREFRESH = True
WHITENOISE_USE_FINDERS = True

if DATABASES["default"]["ENGINE"].endswith("sqlite3"):  # noqa: F405
    # A file, as on a farm: an in-memory register shared by threads refuses at once where a file waits its turn.
    memory = "/dev/shm" if os.path.isdir("/dev/shm") else None  # noqa: S108  (a folder of its own is made in it)
    register = tempfile.mkdtemp(prefix="scutebook-tests-", dir=memory)
    DATABASES["default"]["TEST"] = {"NAME": f"{register}/register.sqlite3"}  # noqa: F405
    atexit.register(shutil.rmtree, register, ignore_errors=True)
