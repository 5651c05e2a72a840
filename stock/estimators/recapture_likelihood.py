"""The likelihood of first recaptures, with its slope, for groups that may share figures."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np

AT_BOUND = 25.0
"""A logit this far out is taken for 0 or 1."""
_TINY_STEP = 1e-30


def as_share(logit: float) -> float:
    """Return the share from 0 to 1 that goes with a logit."""
    return 1 / (1 + math.exp(-logit)) if logit > -700 else 0.0


@dataclass(frozen=True)
class Group:
    """
    What the likelihood needs of one group, by interval (or by the sample at its end).

    ``lived`` are animals known to have lived over the interval, ``missed`` those of them not caught at
    its end, ``caught`` those caught, ``never_again`` those released at its start and never caught.
    """

    lived: tuple[int, ...]
    missed: tuple[int, ...]
    caught: tuple[int, ...]
    never_again: tuple[int, ...]

    @classmethod
    def from_rows(cls, released: Sequence[int], rows: Sequence[Sequence[int]]) -> Self:
        """Return the sums over first recaptures; ``rows[i][j]`` are those caught j intervals on."""
        intervals = len(rows)
        lived, missed, caught = [0] * intervals, [0] * intervals, [0] * intervals
        for start, row in enumerate(rows):
            for end, heads in enumerate(row, start=start):
                caught[end] += heads
                for between in range(start, end + 1):
                    lived[between] += heads
                for between in range(start, end):
                    missed[between] += heads
        never_again = (number - sum(row) for number, row in zip(released, rows, strict=True))
        return cls(tuple(lived), tuple(missed), tuple(caught), tuple(never_again))

    @property
    def intervals(self) -> int:
        return len(self.lived)

    @property
    def recaptured(self) -> int:
        return sum(self.caught)


@dataclass(frozen=True)
class Model:
    """
    Groups and the figures they share: ``survivals`` logits of survival, then those of recapture.

    ``of_survival[g][h]`` and ``of_recapture[g][h]`` are the places of the logits that group g has over
    interval h, whose length in years is ``lengths[g][h]``. The places in ``fixed`` stand for a recapture
    of 1.
    """

    groups: tuple[Group, ...]
    of_survival: Any
    of_recapture: Any
    lengths: Any
    survivals: int
    count: int
    fixed: frozenset[int]

    @classmethod
    def build(
        cls,
        groups: Sequence[Group],
        of_survival: list[list[int]],
        of_recapture: list[list[int]],
        lengths: list[list[float]],
        recapture_is_1: set[int],
    ) -> Self:
        survivals = 1 + max(number for row in of_survival for number in row)
        recaptures = 1 + max(number for row in of_recapture for number in row)
        return cls(
            groups=tuple(groups),
            of_survival=np.array(of_survival),
            of_recapture=np.array(of_recapture) + survivals,
            lengths=np.array(lengths),
            survivals=survivals,
            count=survivals + recaptures,
            fixed=frozenset(survivals + number for number in recapture_is_1),
        )

    def loss(self, logits: Any) -> tuple[Any, Any]:
        """
        Return minus the log-likelihood, and its slope by each logit (0 for a fixed one).

        The last axis of ``logits`` runs over the figures; they may be complex, for `information`.
        """
        shares, misses = 1 / (1 + np.exp(-logits)), 1 / (1 + np.exp(logits))
        logs = -np.log1p(np.exp(-logits))
        fixed = sorted(self.fixed)
        shares[..., fixed], misses[..., fixed], logs[..., fixed] = 1.0, 0.0, 0.0
        total: Any = 0.0
        slope, figures = np.zeros_like(shares), np.eye(self.count)
        for group, lives, catches, lengths in zip(
            self.groups, self.of_survival, self.of_recapture, self.lengths, strict=True
        ):
            log_phi = lengths * logs[..., lives]
            phi, died = np.exp(log_phi), -np.expm1(log_phi)
            p, q, short = shares[..., catches], misses[..., catches], misses[..., lives]
            passed = phi * q
            # Never caught again after a release: dead, or alive, missed, and never caught after.
            never = np.ones((*logits.shape[:-1], group.intervals + 1), dtype=shares.dtype)
            for h in reversed(range(group.intervals)):
                never[..., h] = died[..., h] + passed[..., h] * never[..., h + 1]
            released_now, after = never[..., :-1], never[..., 1:]
            lived, missed, caught = np.array(group.lived), np.array(group.missed), np.array(group.caught)
            lost = np.array(group.never_again)
            # What never happened may have a chance of 0.
            total = total + (lived * log_phi).sum(-1) + (caught * logs[..., catches]).sum(-1)
            total = total + (missed[missed > 0] * np.log(q[..., missed > 0])).sum(-1)
            total = total + (lost[lost > 0] * np.log(released_now[..., lost > 0])).sum(-1)
            # How the log-likelihood hangs on `never`, through its own releases and all earlier ones.
            weight = np.zeros_like(phi)
            weight[..., lost > 0] = lost[lost > 0] / released_now[..., lost > 0]
            for h in range(1, group.intervals):
                weight[..., h] += weight[..., h - 1] * passed[..., h - 1]
            by_survival = (lived + weight * phi * (q * after - 1)) * lengths * short
            # By the logit of p: p' = p q, q' = -p q.
            by_recapture = caught * q - (missed + weight * phi * after * q) * p
            # Not a matrix product: for matrices so small the linear algebra library's threads cost more.
            slope += np.einsum("...h,hk->...k", by_survival, figures[lives])
            slope += np.einsum("...h,hk->...k", by_recapture, figures[catches])
        slope[..., fixed] = 0.0
        return -total, -slope

    def information(self, logits: Any) -> Any:
        """Return the second derivatives of `loss`, to the last digit, by a step into the imaginary."""
        steps = 1j * _TINY_STEP * np.eye(self.count)
        matrix = self.loss(logits + steps)[1].imag / _TINY_STEP
        return (matrix + matrix.T) / 2
