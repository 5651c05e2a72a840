"""Sheets made by changing valid ones: harmless changes that must load, and named faults that must be refused."""
