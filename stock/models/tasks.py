"""Decisions as open tasks, who has looked at what the bank logged, and posts that were refused."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from ponds.models import AppendOnlyModel, Kind, Pond
from stock.models.cells import HeadClass
from stock.models.moves import Move


class Task(models.Model):
    """Something decided in the office that is done at a pond: add, take out, or recount."""

    class Verb(models.TextChoices):
        ADD = "ADD", "add"
        TAKE_OUT = "TAKE_OUT", "take out"
        RECOUNT = "RECOUNT", "recount"

    pond = models.ForeignKey(Pond, on_delete=models.PROTECT, related_name="tasks")
    verb = models.CharField(max_length=8, choices=Verb)
    kind = models.ForeignKey(Kind, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    of_class = models.CharField("class", max_length=8, blank=True, choices=HeadClass)
    heads = models.PositiveIntegerField(null=True, blank=True)
    why = models.CharField(max_length=300, blank=True)
    decided_on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    review_month = models.DateField(
        null=True, blank=True, help_text="First day of the month in whose review it was decided."
    )
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    recorded_at = models.DateTimeField(db_default=Now(), editable=False)
    dropped_at = models.DateTimeField(null=True, blank=True)
    dropped_why = models.CharField(max_length=300, blank=True)

    never_deleted = True

    class Meta:
        indexes = [
            models.Index(fields=["pond", "dropped_at"], name="stock_task_pond"),
            models.Index(fields=["-decided_on", "-id"], name="stock_task_newest"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(verb__in=["ADD", "TAKE_OUT", "RECOUNT"]), name="stock_task_verb"
            ),
            models.CheckConstraint(
                condition=Q(verb="RECOUNT") | (Q(kind__isnull=False) & ~Q(of_class="") & Q(heads__gt=0)),
                name="stock_task_says_which_heads",
                violation_error_message="Say how many heads of which kind and class.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_verb_display()} {self.heads or ''}".strip()


class TaskMove(AppendOnlyModel):
    """So many heads of a task done by a move; they count for as long as the move is not reversed."""

    task = models.ForeignKey(Task, on_delete=models.PROTECT, related_name="done_by")
    move = models.ForeignKey(Move, on_delete=models.PROTECT, related_name="tasks_done")
    heads = models.PositiveIntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["task", "move"], name="stock_taskmove_once")]

    def __str__(self) -> str:
        return f"{self.heads} done"


class LastLook(models.Model):
    """When a person last said that they had seen what the bank logged."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="last_look")
    looked_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"looked at {self.looked_at:%Y-%m-%d %H:%M}"


class RefusedPost(AppendOnlyModel):
    """A post the ledger refused, with what was typed, so that no fact is lost with it."""

    key = models.UUIDField()
    pond = models.ForeignKey(Pond, null=True, on_delete=models.PROTECT, related_name="+")
    sentence = models.TextField()
    typed = models.JSONField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    refused_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        indexes = [models.Index(fields=["-refused_at"], name="stock_refusedpost_newest")]

    def __str__(self) -> str:
        return self.sentence

    @property
    def pond_code(self) -> str:
        """The code of its pond, as typed where there is no such pond; "" where none was typed."""
        return self.pond.code if self.pond is not None else (self.typed.get("pond") or [""])[0][:20]


class RefusedAside(AppendOnlyModel):
    """That a refused post is not to be booked after all, and why; what was typed stays."""

    refused = models.OneToOneField(RefusedPost, on_delete=models.PROTECT, related_name="set_aside")
    reason = models.CharField(max_length=300)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=150)
    aside_at = models.DateTimeField(db_default=Now(), editable=False)

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="stock_refusedaside_says")]

    def __str__(self) -> str:
        return self.reason
