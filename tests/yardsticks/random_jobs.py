"""Whole jobs drawn at random, as a maker would write them: bays, boards with flaws, wishes. They are invented."""

from __future__ import annotations

import numpy as np

from grainplan.boards import Flaw, Grain, MeasuredBoard, Pith, RoughBoard
from grainplan.frame import Bay, PanelMaking
from grainplan.geometry import Box
from grainplan.match.request import Request
from grainplan.measured import Measured
from grainplan.movement import Wood, size_panels
from grainplan.plan import BoardUse
from grainplan.resaw import Resaw, Stock, plan_resaw
from grainplan.shop import Climate, Shop
from grainplan.species import load_species

KINDS = ("knot", "check", "pitch", "stain")


def draw_request(bays: int, boards: int, seed: int, *, strips: int | None = None) -> Request:
    """A job of bays in groups of two to four that look alike, some with a mirrored partner, some seen from behind."""
    rng = np.random.default_rng(seed)
    shop, making = Shop(), PanelMaking(float_mm=6.35, strips=strips)
    wanted = _draw_bays(rng, bays)
    measured = tuple(_draw_board(rng, place) for place in range(boards))
    wood = Wood(load_species()["white ash"], 8.0)
    return Request(
        "A drawn job",
        "0" * 64,
        wanted,
        {b.name: size_panels(b, making, shop=shop, climate=Climate(), wood=wood) for b in wanted},
        measured,
        {b.name: resaw_board(b, shop, making) for b in measured},
        making,
        shop,
    )


def resaw_board(board: MeasuredBoard, shop: Shop, making: PanelMaking) -> BoardUse:
    """How a board is resawn, or that it gives no leaf."""
    found = plan_resaw(Stock.of(board.board), shop, finished_mm=making.thickness_mm)
    if not isinstance(found, Resaw):
        return BoardUse(board.name, 0, 0.0, (), 0.0, 0.0, False, 0.0, (), 0.0, (found.reason,))
    return BoardUse(
        board.name,
        found.leaves,
        found.flat_thickness_mm,
        found.sawn_leaf_mm,
        found.finished_leaf_mm,
        found.spare_mm,
        found.tight,
        found.mate_gap_mm,
        found.cuts_mm,
        0.0,
    )


def _draw_bays(rng: np.random.Generator, count: int) -> tuple[Bay, ...]:
    found: list[Bay] = []
    while len(found) < count:
        group = int(min(rng.integers(2, 5), count - len(found)))
        sizes = {
            "width_mm": float(rng.integers(180, 420)),
            "lower_mm": float(rng.integers(350, 800)),
            "upper_mm": float(rng.integers(200, 450)),
            "rail_mm": 63.5,
            "matters": float(rng.choice([1.0, 1.5, 2.0])),
            "seen": str(rng.choice(["front", "front", "both"])),
        }
        names = [f"bay {len(found) + i + 1}" for i in range(group)]
        mirrored = group == 2 and rng.random() < 0.7
        for i, name in enumerate(names):
            mirror = names[1] if mirrored and i == 0 else None
            found.append(Bay(name, alike=f"group {names[0]}", mirror=mirror, **sizes))
    return tuple(found)


def _draw_board(rng: np.random.Generator, place: int) -> MeasuredBoard:
    length, width = float(rng.integers(1500, 3000)), float(rng.integers(130, 250))
    flaws = []
    for _ in range(rng.poisson(0.8 * length / 1000)):
        x, y = rng.uniform(0, length - 60), rng.uniform(0, width - 30)
        box = Box(x, y, x + rng.uniform(10, 60), y + rng.uniform(8, 30))
        on = str(rng.choice(["face", "back", "through", "through"]))
        flaws.append(Flaw(str(rng.choice(KINDS)), on, box, avoid=bool(rng.random() < 0.6)))
    name = chr(65 + place % 26) * (place // 26 + 1)
    board = RoughBoard(
        name, length, width, float(rng.choice([20.6, 23.8, 27.0, 33.3, 45.0])), "white ash", 8.0, flaws=tuple(flaws)
    )
    middle = (float(rng.uniform(-50, 250)), float(rng.uniform(40, 150)))
    lab = tuple(float(v) for v in rng.normal((68, 8, 24), (4, 1.5, 2)))
    return MeasuredBoard(
        board,
        Measured(length, 1.0),
        Measured(width, 1.0),
        grain=Grain(angle_deg=float(rng.normal(0, 2)), ring_angle_deg=float(rng.uniform(8, 80)), colour_lab=lab),
        pith=Pith(middle, middle, 8.0) if rng.random() < 0.7 else None,
        flaws=board.flaws,
    )
