"""The season: one nesting year. Imports no Django.

A nesting year runs from 1 September to 31 August and is named for the year it ends in. Sliders, maps,
snappers and softshells of the Gulf South dig between late March and mid-August, so their digging never
crosses the line; peninsula cooters dig from late September to June (both in the nesting table of Krueger
& Janzen, after Ernst & Lovich 2009), and the line falls before their first nest.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

FIRST_MONTH = 9


@dataclass(frozen=True, order=True)
class Season:
    """One nesting year.

    Parameters
    ----------
    year : int
        The calendar year it ends in: season 2026 is 2025-09-01 to 2026-08-31.
    """

    year: int

    @property
    def starts_on(self) -> dt.date:
        """First day of the nesting year."""
        return dt.date(self.year - 1, FIRST_MONTH, 1)

    @property
    def ends_on(self) -> dt.date:
        """Last day of the nesting year."""
        return dt.date(self.year, FIRST_MONTH, 1) - dt.timedelta(days=1)

    @property
    def days(self) -> int:
        """Days in the nesting year: 365 or 366."""
        return (self.ends_on - self.starts_on).days + 1

    def holds(self, day: dt.date) -> bool:
        """Say whether a day lies in this nesting year."""
        return self.starts_on <= day <= self.ends_on

    def week_of(self, day: dt.date) -> int:
        """
        Return the week of the nesting year a day lies in.

        Parameters
        ----------
        day : date
            A day of this season.

        Returns
        -------
        int
            1 for 1 to 7 September, and so on to 53.

        Raises
        ------
        ValueError
            If the day lies in another season.
        """
        if not self.holds(day):
            raise ValueError(
                f"{day:%Y-%m-%d} is not in season {self.year}, which runs from {self.starts_on:%Y-%m-%d} "
                f"to {self.ends_on:%Y-%m-%d}."
            )
        return (day - self.starts_on).days // 7 + 1

    def __str__(self) -> str:
        return f"season {self.year}"


def season_of(day: dt.date) -> Season:
    """Return the nesting year a day lies in."""
    return Season(day.year + 1 if day.month >= FIRST_MONTH else day.year)


def seasons_between(earliest: dt.date, latest: dt.date) -> list[Season]:
    """Return every nesting year from the one of `earliest` to the one of `latest`, newest first."""
    newest, oldest = season_of(latest).year, season_of(earliest).year
    return [Season(year) for year in range(newest, oldest - 1, -1)]


def nests_in_season(nest_days: list[tuple[dt.date, int]], season: Season) -> int:
    """
    Return how many nests were dug in a season.

    Parameters
    ----------
    nest_days : list of (date, int)
        Day and nests of each nest-book row that stands.
    season : Season
        The nesting year asked about.

    Returns
    -------
    int
        Sum of the nests of the rows in it.
    """
    return sum(nests for day, nests in nest_days if season.holds(day))
