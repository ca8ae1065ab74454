"""How a long step tells where it is, and how it is asked to stop."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float, str], None]
"""Called with the share that is done, 0 to 1, and a few words on what is going on."""

ShouldStop = Callable[[], bool]
"""Asked now and then; once it answers True the step ends at its best so far."""


def keep_quiet(share: float, doing: str) -> None:
    """The progress of a step that nobody watches."""


def never_stop() -> bool:
    """The answer where nobody can interrupt."""
    return False


def part_of(progress: Progress, start: float, end: float) -> Progress:
    """The progress of a step that is the part from `start` to `end` (0 to 1) of a longer one."""

    def tell(share: float, doing: str) -> None:
        progress(start + (end - start) * min(1.0, max(0.0, share)), doing)

    return tell
