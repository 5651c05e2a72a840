"""The WSGI entry that gunicorn loads; it refuses to start on settings that could lose a move."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
application = get_wsgi_application()

from django.db import connection  # noqa: E402  (needs the settings loaded above)

from config.durability import refuse_unsafe  # noqa: E402

refuse_unsafe(connection)
