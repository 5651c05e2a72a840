"""Before anybody goes into the water: how many to mark, catch or sex, or how many passes."""

from stock.estimators.planner_hauls import HaulsPlan, hauls_plan, hauls_precision, robson_regier_ratio
from stock.estimators.planner_passes import PassesPlan, PassesRow, passes_plan
from stock.estimators.planner_sexing import BandPlan, SexingPlan, band_plan, sexing_plan

__all__ = [
    "BandPlan",
    "HaulsPlan",
    "PassesPlan",
    "PassesRow",
    "SexingPlan",
    "band_plan",
    "hauls_plan",
    "hauls_precision",
    "passes_plan",
    "robson_regier_ratio",
    "sexing_plan",
]
