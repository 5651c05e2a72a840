"""The register's tables, by subject; import them from here."""

from stock.models.batches import Batch, Paper
from stock.models.cells import Cell, HeadClass, KeptFlows, MonthClose, MonthEnd, Outside, StockMix
from stock.models.counts import Count, CountHaul, CountReversal
from stock.models.hauls import Haul, HaulLine
from stock.models.marks import MarkStep, Turtle
from stock.models.moves import Cause, Entry, Move, Reason
from stock.models.placings import PlacingEnd, PlacingStop, PlacingTask, SavedPlacing
from stock.models.reviews import PondReview
from stock.models.surveys import Survey, SurveyHaul, SurveyMarked
from stock.models.tasks import LastLook, RefusedPost, Task, TaskMove

__all__ = [
    "Batch",
    "Cause",
    "Cell",
    "Count",
    "CountHaul",
    "CountReversal",
    "Entry",
    "Haul",
    "HaulLine",
    "HeadClass",
    "KeptFlows",
    "LastLook",
    "MarkStep",
    "MonthClose",
    "MonthEnd",
    "Move",
    "Outside",
    "Paper",
    "PlacingEnd",
    "PlacingStop",
    "PlacingTask",
    "PondReview",
    "Reason",
    "RefusedPost",
    "SavedPlacing",
    "StockMix",
    "Survey",
    "SurveyHaul",
    "SurveyMarked",
    "Task",
    "TaskMove",
    "Turtle",
]
