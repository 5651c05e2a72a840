"""The one table the site itself keeps: which passwords are one-time passwords still."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils import timezone


class OneTimePassword(models.Model):
    """Says that a person's password was made by somebody else, and until when it opens the door.

    The row goes when the person chooses a password of their own. The password itself is kept nowhere but,
    hashed, with the user.
    """

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="one_time_password"
    )
    expires_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"one-time password until {self.expires_at:%Y-%m-%d %H:%M} UTC"

    @property
    def has_expired(self) -> bool:
        return timezone.now() >= self.expires_at
