"""A measured value is a value with its doubt and its caveats."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Measured:
    """A number read from a photo or a caliper, and how far it may be off.

    Parameters
    ----------
    value : float
        The number itself. The unit stands in the name of whatever holds it.
    doubt : float
        Half width of the range that holds the truth about 19 times in 20, in the same unit; zero or more.
    caveats : tuple of str
        Plain sentences that the maker should read beside the number.

    Raises
    ------
    ValueError
        If the value is not finite or the doubt is negative or not a number.
    """

    value: float
    doubt: float
    caveats: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"a measured value must be a finite number, got {self.value}")
        if not self.doubt >= 0:
            raise ValueError(f"the doubt of a measured value must be 0 or more, got {self.doubt}")
