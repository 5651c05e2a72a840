"""What would mend a pond, each way with the address that makes it a decision."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from stock.advice import Aim, Way
from stock.links import task_link
from stock.pond_kind import PondKind


@dataclass(frozen=True)
class WayLink:
    """A remedy with the address that makes it a task, "" for who may not."""

    way: Way
    task_url: str


@dataclass(frozen=True)
class AimLinks:
    aim: Aim
    ways: tuple[WayLink, ...]


def with_links(
    aim: Aim,
    one: PondKind,
    *,
    why: str,
    may_decide: bool,
    back: Callable[[str], str] = lambda address: address,
) -> AimLinks:
    """
    Return an aim's ways with their addresses.

    `why` is filled in as the task's reason; `back` adds to an address where the task's page leads on to.
    """

    def address(way: Way) -> str:
        return back(
            task_link(
                one.pond_code,
                way.verb,
                kind=one.kind_code,
                of_class=way.of_class,
                heads=way.heads,
                why=why,
            )
        )

    return AimLinks(
        aim, tuple(WayLink(way, address(way) if may_decide and way.heads else "") for way in aim.ways)
    )
