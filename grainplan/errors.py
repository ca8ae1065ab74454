"""What can go wrong, in three kinds.

* A caller's mistake is a plain ``ValueError``.
* What the maker can mend is a :class:`GrainplanError`: one clear sentence that says what was seen, the number, and
  what to do next. It is caught only at the edge, by the command line and the app.
* An estimate that may fail while the rest goes on returns a falsy :class:`NotFound` with its reason.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class GrainplanError(Exception):
    """Something that the maker can mend; its text is a sentence for them."""


class JobFileError(GrainplanError):
    """A job file that cannot be used as it stands.

    Parameters
    ----------
    faults : iterable of str
        One sentence a fault. All that is wrong is told at once.
    places : iterable of tuple
        For each fault, its keys and places in the file; left out where the file as a whole cannot be read.
    """

    def __init__(self, faults: Iterable[str], places: Iterable[tuple[str | int, ...]] = ()) -> None:
        self.faults: tuple[str, ...] = tuple(faults)
        self.places: tuple[tuple[str | int, ...], ...] = tuple(places)
        if not self.faults:
            raise ValueError("a JobFileError needs at least one fault")
        super().__init__("\n".join(self.faults))


class PhotoError(GrainplanError):
    """A photo that cannot be used: missing, damaged, too large, or without the corners that place it."""


class PlanError(GrainplanError):
    """A plan or measurement file that cannot be read, or that belongs to another state of the job."""


@dataclass(frozen=True, slots=True)
class NotFound:
    """A falsy answer: the estimate could not be had, and why.

    Parameters
    ----------
    reason : str
        A plain sentence for the maker.
    """

    reason: str

    def __bool__(self) -> bool:
        return False
