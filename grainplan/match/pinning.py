"""A bay of a plan held as it is: what the maker's hand, the repair and the search for spares leave in its place."""

from __future__ import annotations

from grainplan.job import Keep
from grainplan.plan import PlannedBay


def pin_bay(planned: PlannedBay) -> Keep:
    """Hold a bay to the leaves and the place that it has in a plan.

    A panel of halves from two boards lies at two places and is held to its leaves alone.
    """
    lowest, *above = planned.panels.values()
    first = lowest.strips[0]
    leaves = [s.leaf for s in lowest.strips]
    if planned.is_end_matched:
        leaves += [s.leaf for panel in above for s in panel.strips]
    if len({leaf.board for leaf in leaves}) > 1:
        return Keep(planned.name, tuple(leaves), foot=first.foot)
    start_mm = min(strip.x_mm[0] for panel in planned.panels.values() for strip in panel.strips)
    y_mm = min(strip.y_mm[0] for strip in lowest.strips)
    return Keep(planned.name, tuple(leaves), start_mm, y_mm, first.foot)
