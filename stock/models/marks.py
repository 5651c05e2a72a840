"""Marked turtles inside the head counts: where each stands, and the steps that brought it there."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from ponds.models import AppendOnlyModel, Kind
from stock.models.cells import Cell
from stock.models.moves import Entry, Move


class Turtle(models.Model):
    """One marked turtle. `cell` is where its latest step put it: empty while its whereabouts are not known."""

    code = models.CharField(max_length=40, unique=True)
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="+")
    cell = models.ForeignKey(Cell, null=True, on_delete=models.PROTECT, related_name="turtles")
    last_seen_on = models.DateField()

    never_deleted = True

    class Meta:
        indexes = [models.Index(fields=["cell", "last_seen_on"], name="stock_turtle_longest_unseen")]

    def __str__(self) -> str:
        return self.code


class MarkStep(AppendOnlyModel):
    """A marked turtle's step from one cell to another, inside a move. An empty cell: not among the marked there."""

    class How(models.TextChoices):
        MARKED = "MARKED", "marked"
        MOVED = "MOVED", "went with a move"
        NOT_KNOWN = "NOT_KNOWN", "whereabouts not known"
        REVERSED = "REVERSED", "its move was reversed"

    turtle = models.ForeignKey(Turtle, on_delete=models.PROTECT, related_name="steps")
    move = models.ForeignKey(Move, on_delete=models.PROTECT, related_name="mark_steps")
    entry = models.ForeignKey(Entry, null=True, on_delete=models.PROTECT, related_name="mark_steps")
    source = models.ForeignKey(Cell, null=True, on_delete=models.PROTECT, related_name="+")
    target = models.ForeignKey(Cell, null=True, on_delete=models.PROTECT, related_name="+")
    how = models.CharField(max_length=10, choices=How)
    booked_on = models.DateField()

    class Meta:
        indexes = [
            models.Index(fields=["source", "booked_on"], name="stock_markstep_out"),
            models.Index(fields=["target", "booked_on"], name="stock_markstep_in"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(source__isnull=False) | Q(target__isnull=False), name="stock_markstep_somewhere"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.how.lower()} on {self.booked_on:%Y-%m-%d}"
