"""The one unit of the cost, and what each part is worth in it.

The unit is the worth of one board foot (2360 cm³) of the job's wood: money where the boards have prices, board feet
where they have none. The rates below say how much wood a maker would give for a better look; the weights of the job
multiply them. They are this program's own choice, not a published scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from grainplan.boardmeasure import count_board_feet
from grainplan.boards import RoughBoard
from grainplan.units import Units

BOARD_FOOT_MM3 = 144 * 25.4**3  # 12 in × 12 in × 1 in, by definition
CUBIC_METRE_MM3 = 1e9
PRICELESS = 1.0

SEAM_PER_METRE = 1.0
"""A metre of seam whose two edges do not belong together, in board feet."""
TONE_PER_METRE = 0.6
"""A metre of seam between colours that plainly differ (CIEDE2000 of 6 or more)."""
JUMP_PER_STRIP = 0.4
"""Grain that does not run on behind the rail, a strip."""
FLAW_PER_INCH2 = 0.5
"""A square inch of a flaw that may be shown, at full confidence."""
FOOT_UP = 0.05
"""A bay whose wood stands head down; few see it, so it only decides between equals."""
ALIKE = 0.8
"""A bay that is to look like others and plainly does not."""
OTHER_PLACE = 0.25
"""A mirrored pair from one board, but not from one place."""
BACK_SHARE = 0.5
"""What the back of a panel counts beside its front, where both are seen."""
USEFUL_LENGTH_MM = 500.0
LEFT_OVER_SHARE = 0.4
"""What a useful left-over end is worth of what its wood cost; only whole steps of 100 mm count."""
STEP_HALF_MM = 6.35
"""The step that counts as half a misfit: the wider of the two panel alignment tolerances of the architectural woodwork
standards (section 8, 1/4 in and 1/8 in); those standards are for veneer, so this is an analogy."""
TONE_FULL = 6.0
"""The CIEDE2000 difference from which two strips plainly differ (common practice; a difference of 1 is just seen)."""
FINE_MM = 3.2
"""Panel-to-panel alignment of the strictest grade of the architectural woodwork standards, 1/8 in."""
FAIR_MM = 6.4
"""The same, middle grade, 1/4 in."""
UNKNOWN_SEAM = 0.5
"""A seam about which nothing is known counts as half a misfit."""


@dataclass(frozen=True, slots=True)
class Money:
    """What wood costs in this job.

    Attributes
    ----------
    unit : "money" or "board feet".
    per_board_foot : by board name.
    mean : of all boards, by volume; every other part of the cost is multiplied by it.
    """

    unit: Literal["money", "board feet"]
    per_board_foot: dict[str, float]
    mean: float

    @property
    def sentence(self) -> str:
        """The unit of the cost, for the maker."""
        if self.unit == "money":
            return f"The cost is in the money of the boards' prices; one board foot is worth {self.mean:.2f} here."
        return "The cost is in board feet of the job's wood, since not every board has a price."


def price_wood(boards: tuple[RoughBoard, ...], units: Units) -> Money:
    """The price of each board a board foot; one board foot each where any price is missing."""
    if not boards or any(board.price is None for board in boards):
        return Money("board feet", {board.name: PRICELESS for board in boards}, PRICELESS)
    scale = BOARD_FOOT_MM3 / (BOARD_FOOT_MM3 if units == "in" else CUBIC_METRE_MM3)
    prices = {board.name: float(board.price or 0.0) * scale for board in boards}
    volumes = [board.length_mm * board.width_mm * board.thickness_mm for board in boards]
    mean = float(np.average(list(prices.values()), weights=volumes))
    return (
        Money("money", prices, mean) if mean > 0 else Money("board feet", dict.fromkeys(prices, PRICELESS), PRICELESS)
    )


def volume_board_feet(board: RoughBoard) -> float:
    """Volume of a rough board, board feet, as measured."""
    width = board.width_mm if board.width_head_mm is None else (board.width_mm + board.width_head_mm) / 2
    return count_board_feet(board.length_mm, width, thickness_mm=board.thickness_mm)


def judge_step(step_mm: float | None) -> float:
    """How bad a step at a seam is, 0 (none) to 1 (far off); a step that is not known counts as half."""
    return UNKNOWN_SEAM if step_mm is None else step_mm / (step_mm + STEP_HALF_MM)


def judge_fit(fit: NDArray[np.float64], strangers: float) -> NDArray[np.float64]:
    """How bad a seam is that has been seen, 0 to 1: a fit says something only above that of strangers."""
    return np.clip(1.0 - (fit - strangers) / max(1.0 - strangers, 1e-6), 0.0, 1.0)


def judge_tone(tone_de: float | NDArray[np.float64]) -> NDArray[np.float64]:
    """How plainly two colours differ, 0 to 1."""
    return np.clip(np.asarray(tone_de, float) / TONE_FULL, 0.0, 1.0)


def say_step(step_mm: float) -> str:
    """A step in the words of the panel alignment tolerances of the architectural woodwork standards.

    Architectural Woodwork Standards, 1st edition (2009), section 8, p. 193: alignment from panel to panel within 1/8 in
    (3.2 mm) in the strictest grade, 1/4 in (6.4 mm) in the middle one, no limit in the lowest. Those are for veneered
    panels; for strips of one solid panel the words are an analogy.
    """
    if step_mm <= FINE_MM:
        return "fine"
    return "fair" if step_mm <= FAIR_MM else "plain to see"
