"""Estimators of heads, survival and shares: numpy, scipy and the standard library only."""
