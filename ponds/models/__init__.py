"""The ground floor's tables, by subject; import them from here. Nothing here knows of stock."""

from ponds.models.append_only import AppendOnlyModel, AppendOnlyQuerySet, NeverChanged
from ponds.models.kinds import Kind, KindFigure
from ponds.models.lots import Basket, Candling, EggLot, EggTemperature, Hatch
from ponds.models.nests import Clutch, NestDay
from ponds.models.places import Farm, Pond, PondQuerySet, PondState

__all__ = [
    "AppendOnlyModel",
    "AppendOnlyQuerySet",
    "Basket",
    "Candling",
    "Clutch",
    "EggLot",
    "EggTemperature",
    "Farm",
    "Hatch",
    "Kind",
    "KindFigure",
    "NestDay",
    "NeverChanged",
    "Pond",
    "PondQuerySet",
    "PondState",
]
