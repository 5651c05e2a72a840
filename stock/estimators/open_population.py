"""Open ponds: heads, survival and arrivals from marked animals met again over many samples."""

from stock.estimators.histories import Captures, from_histories
from stock.estimators.jolly_seber import OpenSample, jolly_seber
from stock.estimators.recapture import RecaptureSurvival, recapture_survival

__all__ = [
    "Captures",
    "OpenSample",
    "RecaptureSurvival",
    "from_histories",
    "jolly_seber",
    "recapture_survival",
]
