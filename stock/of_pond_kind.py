"""What every row of a table about a pond and kind says alike."""

from __future__ import annotations

from stock.pond_kind import PondKind


class OfPondKind:
    """For rows with `facts`: which pond and kind, and its heads by the book, under the names that columns sort by."""

    facts: PondKind

    @property
    def pond(self) -> str:
        return self.facts.pond_code

    @property
    def kind(self) -> str:
        return self.facts.kind_name

    @property
    def verdict(self) -> str:
        """How it stands, in words; columns are still asked for by this name."""
        return self.facts.how_it_stands

    @property
    def females(self) -> int:
        return self.facts.heads.females

    @property
    def males(self) -> int:
        return self.facts.heads.males

    @property
    def unsexed(self) -> int:
        return self.facts.heads.unsexed

    @property
    def juveniles(self) -> int:
        return self.facts.heads.juveniles
