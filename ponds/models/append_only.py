"""Rows that are written once and never changed: a mistake is mended by a row that replaces the wrong one."""

from __future__ import annotations

from django.db import models


class NeverChanged(Exception):
    """A row that is never changed or deleted was asked to be; the message says what to do instead."""


class AppendOnlyQuerySet(models.QuerySet):
    """A QuerySet of rows that are only ever added. The trigger is the real guard; this one speaks sooner."""

    def update(self, **kwargs):
        raise NeverChanged(f"{self.model._meta.verbose_name} rows are never changed; add a new one.")

    def delete(self):
        raise NeverChanged(f"{self.model._meta.verbose_name} rows are never deleted; add a new one.")


class AppendOnlyModel(models.Model):
    """A row that is written once."""

    append_only = True

    class Meta:
        abstract = True

    def save(self, *args, **kwargs):
        if not self._state.adding:
            raise NeverChanged(f"A {self._meta.verbose_name} is never changed; add a new one.")
        super().save(*args, **kwargs)

    def delete(self, *args, **kwargs):
        raise NeverChanged(f"A {self._meta.verbose_name} is never deleted; add a new one.")
