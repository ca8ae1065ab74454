"""Which way to plane each surface of a leaf, where its fibres run out.

Where the pith is not parallel to the face, neither are the fibres: they climb to one surface of a leaf and dive away
from the other. A cutter leaves a surface clean where it travels the way the fibres climb; the other way it tears them.
Under a hand plane the arrow is the stroke; into a planer the tail of the arrow goes first, so that the cutter travels
along it (common practice; the machine's manual has the last word, and no leaf below its limits goes in).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from grainplan.boards import Leaf, Pith, Surface
from grainplan.errors import NotFound
from grainplan.wood.figure import find_run_out

Toward = Literal["head", "foot"]


@dataclass(frozen=True, slots=True)
class PlaningArrow:
    """The direction in which the cutter travels over a surface.

    Attributes
    ----------
    leaf, surface : which surface.
    toward : the end of the board that the arrow points to.
    run_out_deg, doubt_deg : angle between fibres and surface, and half width of its range about 19 times in 20.
    """

    leaf: Leaf
    surface: Surface
    toward: Toward
    run_out_deg: float
    doubt_deg: float

    @property
    def sentence(self) -> str:
        """For the sheet and the chalk."""
        return f"{self.leaf.name} {self.surface}: plane toward the {self.toward}"


def point_arrows(pith: Pith, length_mm: float, leaves: Iterable[Leaf]) -> tuple[PlaningArrow, ...] | NotFound:
    """An arrow for each surface of each leaf.

    Fibres that dive from the face side on their way to the head climb to the near surface toward the foot, and to the
    far surface toward the head.

    Parameters
    ----------
    pith : Pith
    length_mm : float
    leaves : iterable of Leaf

    Returns
    -------
    tuple of PlaningArrow, or NotFound
        NotFound where the fibres run so nearly along the board that their lean is lost in the doubt: then either way
        may do, and a light cut at the end of a leaf tells.
    """
    found = find_run_out(pith, length_mm)
    if isinstance(found, NotFound):
        return found
    angle, doubt = found.value, found.doubt
    if abs(angle) <= doubt:
        return NotFound(
            f"the fibres lean by {abs(angle):.1f}° give or take {doubt:.1f}°, too little to say which way they climb; "
            "try a light cut"
        )
    toward: dict[Surface, Toward] = {"near": "foot", "far": "head"} if angle > 0 else {"near": "head", "far": "foot"}
    surfaces: tuple[Surface, Surface] = ("near", "far")
    return tuple(
        PlaningArrow(leaf, surface, toward[surface], abs(angle), doubt) for leaf in leaves for surface in surfaces
    )
