"""Which picture a leaf's surface has, and what that picture is worth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from grainplan.boards import Leaf, MeasuredBoard, Side, Surface
from grainplan.geometry import Floats
from grainplan.picture import Picture
from grainplan.plan import SeenAs
from grainplan.wood.solid import TRUSTED

SurfaceKey = tuple[Leaf, Surface]


@dataclass(frozen=True, slots=True, eq=False)
class LeafSurface:
    """One surface of one leaf, in the frame of its board.

    Parameters
    ----------
    picture : Picture or None
        None where nothing at all is known of it.
    seen : str
        "leaf photo", "inside" (predicted), "own side" (the board's face or back itself), "stand-in" (the nearest
        outside, to give an idea) or "none".
    confidence : float
        How far the picture is to be trusted, 0 to 1: the agreement with the true surface that is expected of a
        predicted one, 1 for a photo.
    sure : ndarray of float or None
        The same place by place, for a predicted surface: a coarse grid spread evenly over it.
    rings : Picture or None
        Of a predicted surface, what can really be foretold; its picture has fibres that only look like the true ones.
    """

    picture: Picture | None
    seen: SeenAs
    confidence: float = 1.0
    sure: Floats | None = None
    rings: Picture | None = None

    @property
    def compared(self) -> Picture | None:
        """What seams are scored on."""
        return self.rings or self.picture

    @property
    def is_real(self) -> bool:
        """Whether a score may be built on it: a stand-in gives an idea and no more, and so does a poor prediction."""
        if self.picture is None:
            return False
        return self.seen in ("leaf photo", "own side") or (self.seen == "inside" and self.confidence >= TRUSTED)


Surfaces = Mapping[SurfaceKey, LeafSurface]


def gather_surfaces(
    boards: Mapping[str, MeasuredBoard],
    leaf_counts: Mapping[str, int],
    *,
    better: Mapping[SurfaceKey, LeafSurface] | None = None,
) -> dict[SurfaceKey, LeafSurface]:
    """Find the picture of every surface of every leaf.

    Parameters
    ----------
    boards : mapping of board name to MeasuredBoard
    leaf_counts : mapping of board name to int
        How many leaves each board gives; boards that it does not name are left out.
    better : mapping, optional
        Surfaces that are known in a better way than from the outside of the rough board: photos of the sawn leaves, or
        predicted inside pictures.

    Returns
    -------
    dict
        One entry for each surface of each leaf: the near surface of leaf 1 is the board's own face, the far surface of
        the last leaf its own back; the others get the nearer of the two as a stand-in.
    """
    found: dict[SurfaceKey, LeafSurface] = {}
    for name, leaves in leaf_counts.items():
        for place in range(2 * leaves):
            key: SurfaceKey = (Leaf(name, place // 2 + 1), "near" if place % 2 == 0 else "far")
            known = (better or {}).get(key)
            found[key] = known or _from_outside(boards[name], place, last=2 * leaves - 1)
    return found


def _from_outside(board: MeasuredBoard, place: int, *, last: int) -> LeafSurface:
    """The surface at `place` (0 the face … `last` the back) as the outside of the board gives it."""
    by_nearness: tuple[Side, ...] = ("face", "back") if 2 * place <= last else ("back", "face")
    for side in by_nearness:
        if side in board.sides:
            own = place == (0 if side == "face" else last)
            return LeafSurface(board.sides[side].picture, "own side" if own else "stand-in")
    return LeafSurface(None, "none")
