"""Bridge from what the farm's books taught to the eggs of a whole-farm plan: nothing is read or written here."""

from __future__ import annotations

import math
from collections.abc import Sequence

from stock.advisor.eggs_a_female import EggsAFemale
from stock.advisor.farm_plan import FarmPlan
from stock.advisor.farm_plan_eggs import eggs_gained, eggs_of_places
from stock.advisor.placing import SETTLE
from stock.farm_plan_answer import SEASONS
from stock.farm_plan_yields import PlanYields
from stock.placing_advice import eggs_a_female
from stock.placing_answer import DRAWS, SEED
from stock.pond_kind import PondKind


class PlanEggs:
    """What a female gives in each pond of a plan: learnt of the pond, or the published figures of its kind."""

    def __init__(self, mine: Sequence[PondKind], yields: PlanYields | None) -> None:
        self.mine = mine
        self.kinds = frozenset() if yields is None else yields.kinds & {one.kind_id for one in mine}
        published = {one.kind_id: eggs_a_female(one) for one in mine}
        self.a_female = [published[one.kind_id] for one in mine]
        self.seasons = [0] * len(mine)
        self.known = [place for place, one in enumerate(mine) if one.kind_id in self.kinds]
        self.draws: EggsAFemale | None = None
        if yields is None or not self.known:
            return
        rows = [yields.rows.get((mine[place].pond_id, mine[place].kind_id)) for place in self.known]
        self.draws = eggs_of_places(
            yields.learnt,
            rows,
            [mine[place].kind_id for place in self.known],
            seasons=SEASONS,
            draws=DRAWS,
            rng=SEED,
        )
        for place, row, mean in zip(self.known, rows, self.draws.mean.tolist(), strict=True):
            self.a_female[place] = mean
            self.seasons[place] = 0 if row is None else yields.learnt.nests.ponds[row].seasons

    def over_seasons(self, place: int) -> tuple[float, float]:
        """Return the eggs of a settled female over the seasons, and those of one that must settle first."""
        survival = self.mine[place].figures["SURVIVAL"].expected
        alive = [survival**season for season in range(1, SEASONS + 1)]
        settling = [SETTLE[min(season, len(SETTLE) - 1)] for season in range(SEASONS)]
        moved = math.fsum(share * lives for share, lives in zip(settling, alive, strict=True))
        return self.a_female[place] * math.fsum(alive), self.a_female[place] * moved

    def gained(self, plan: FarmPlan) -> tuple[float, float, float]:
        """Return the eggs the plan adds, with limits where every kind was learnt."""
        if self.draws is not None and len(self.known) == len(self.mine):
            return eggs_gained(plan, self.draws)
        more = math.fsum(after - before for before, after in plan.eggs_by_place)
        return more, more, more
