"""Rows that are written once and never changed: a mistake is mended by a row that replaces the wrong one."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models.functions import Now


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


class MendedQuerySet(AppendOnlyQuerySet):
    """A QuerySet of rows that are mended by rows that replace them."""

    def standing(self) -> MendedQuerySet:
        """Rows that hold: those no later row has replaced, leaving out rows that only take one back."""
        return self.filter(replaced_by=None, is_void=False)


class MendedModel(AppendOnlyModel):
    """A row that is written once; a mistake is mended by one that replaces it, or takes it back (`is_void`)."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    note = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )
    is_void = models.BooleanField(default=False)

    objects = MendedQuerySet.as_manager()

    class Meta:
        abstract = True


def void_replaces(name: str) -> models.CheckConstraint:
    """Return the constraint that a row which takes one back says which."""
    return models.CheckConstraint(
        condition=models.Q(is_void=False) | models.Q(replaces__isnull=False), name=name
    )
