"""`demo`: load the invented demo farm and serve it on this machine."""

from __future__ import annotations

import os
import socket
import sys

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from ponds.farm import the_farm
from stock import flows
from stock.demo import DemoRefused, is_loaded, load_demo, refuse_other_than_empty
from stock.demo_sign_in import sign_in_lines
from stock.mixes import roll_all

HOST = "127.0.0.1"
WORKERS, THREADS = 2, 4


class Command(BaseCommand):
    help = (
        "Prepare the database, load the demo farm unless it is there already, and serve it on 127.0.0.1. Safe to "
        "run again; a database that holds anything else is never touched."
    )

    def add_arguments(self, parser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="load the farm and stop")
        parser.add_argument("--port", type=int, default=8000, metavar="N", help="port to serve on (8000)")

    def handle(self, *args, **options) -> None:
        port, serves = options["port"], not options["no_serve"]
        if serves:
            refuse_busy(port)
        try:
            self._load()
        except DemoRefused as refused:
            raise CommandError(str(refused)) from refused
        call_command("collectstatic", interactive=False, verbosity=0)
        if serves:
            self._say(f"Scutebook is at http://{HOST}:{port}/ - sign in as one of:")
        else:
            self._say("The demo farm is ready. Sign in as one of:")
        for line in sign_in_lines():
            self._say(line)
        if serves:
            self._say("Stop it with Ctrl-C.")
            serve(port)

    def _load(self) -> None:
        if not is_loaded():
            refuse_other_than_empty()
        self._say("Preparing the database ...")
        call_command("migrate", interactive=False, verbosity=0)
        if is_loaded():
            self._say("The demo farm is loaded already; it is served as it stands.")
            return
        figures = load_demo(say=lambda sentence: self._say(f"{sentence} ..."))
        self._say(
            f"Loaded: {figures.ponds} ponds, {figures.moves} moves with {figures.entries} entries, "
            f"{figures.hauls} hauls, {figures.nests:,} nests in {figures.nest_rows:,} rows."
        )
        flows.keep(the_farm().today())
        roll_all(self._say)

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def refuse_busy(port: int) -> None:
    """Say so, before anything is loaded, where the port cannot be served on."""
    if not 1 <= port <= 65535:
        raise CommandError(f"{port} is not a port: give a number from 1 to 65535.")
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        # As the server does it: a port that only waits for old connections to time out is free.
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError as refused:
            raise CommandError(
                f"Port {port} cannot be used ({refused.strerror}). If the demo is running already, it is at "
                f"http://{HOST}:{port}/; if not, choose another port: manage.py demo --port {port % 65535 + 1}"
            ) from refused


def serve(port: int) -> None:
    """Become the production server; does not return."""
    sys.stdout.flush()
    sys.stderr.flush()
    command = [
        sys.executable, "-m", "gunicorn", "config.wsgi:application",
        "--chdir", str(settings.BASE_DIR),
        "--bind", f"{HOST}:{port}",
        "--worker-class", "gthread",
        "--workers", str(WORKERS),
        "--threads", str(THREADS),
        "--log-level", "warning",
    ]  # fmt: skip
    os.execv(sys.executable, command)  # noqa: S606  (our own interpreter, no shell)
