"""Pages that belong to no app: health, open to all, and what the owner may see of it."""

from __future__ import annotations

import django
from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from config import durability
from config.backup import last_backup
from ponds.roles import for_owner
from stock import append_only


@login_not_required
@require_safe
def up(request: HttpRequest) -> JsonResponse:
    """Answer that the program runs; says nothing about the farm."""
    return JsonResponse({"up": True})


@require_safe
@for_owner
@never_cache
def health(request: HttpRequest) -> HttpResponse:
    """Show the owner what the database promises, and what is amiss."""
    migration = MigrationRecorder(connection).migration_qs.order_by("-applied", "-pk").first()
    executor = MigrationExecutor(connection)
    waiting = executor.migration_plan(executor.loader.graph.leaf_nodes())
    faults = durability.faults(connection)
    faults += [
        f"The guard {name} is missing, so rows could be changed under the book; run manage.py migrate."
        for name in append_only.missing(connection)
    ]
    faults += [
        f"The migration {step.app_label} {step.name} has not run; run manage.py migrate."
        for step, _ in waiting
    ]
    facts = [
        *durability.describe(connection),
        ("Django", django.get_version()),
        (
            "Last migration",
            f"{migration.app} {migration.name}, {migration.applied:%Y-%m-%d %H:%M} UTC"
            if migration
            else "none",
        ),
        ("Last verified backup", _backup_words()),
    ]
    return render(request, "health.html", {"facts": facts, "faults": faults})


def _backup_words() -> str:
    noted = last_backup()
    if noted is None:
        return "none on this machine; manage.py backup FILE makes one"
    return f"{noted['made_at'][:16].replace('T', ' ')} UTC, {noted['moves']:,} moves, as {noted['file']}"
