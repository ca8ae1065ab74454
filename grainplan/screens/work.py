"""A long step that runs beside the page, so that one can watch it, go on looking, and stop it with its best so far."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from grainplan.errors import GrainplanError
from grainplan.progress import Progress, ShouldStop

HandOver = Callable[[Any], None]
Step = Callable[["HandOver", Progress, ShouldStop], None]


@dataclass(slots=True)
class Work:
    """A step under way, or done.

    Parameters
    ----------
    share : float
        How much is done, 0 to 1.
    doing : str
    result : object
        What the step has handed over: the page may show it while the step still goes on.
    fault : str
        Why it failed, in a sentence; empty while all is well.
    """

    share: float = 0.0
    doing: str = ""
    result: Any = None
    fault: str = ""
    _stop: threading.Event = field(default_factory=threading.Event)
    _dropped: threading.Event = field(default_factory=threading.Event)
    _done: threading.Event = field(default_factory=threading.Event)

    def begin(self, step: Step, *, after: Work | None = None) -> None:
        """Run the step in a thread of its own; `after` another has ended, which is dropped."""
        if after is not None:
            after.drop()
        threading.Thread(target=self._run, args=(step, after), daemon=True).start()

    def ask_to_stop(self) -> None:
        """Ask the step to end with its best so far."""
        self._stop.set()

    def drop(self) -> None:
        """Nobody waits for it any more: it is to end as soon as it can."""
        self._dropped.set()
        self._stop.set()

    @property
    def is_dropped(self) -> bool:
        """Whether nobody waits for it any more."""
        return self._dropped.is_set()

    @property
    def is_done(self) -> bool:
        """Whether the step has ended, well or not."""
        return self._done.is_set()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the end; whether it has come."""
        return self._done.wait(timeout_s)

    def _tell(self, share: float, doing: str) -> None:
        self.share, self.doing = max(0.0, min(1.0, share)), doing

    def _take(self, result: Any) -> None:
        self.result = result

    def _run(self, step: Step, after: Work | None) -> None:
        try:
            if after is not None:
                after.wait(600)
            step(self._take, self._tell, self._stop.is_set)
        except GrainplanError as error:
            self.fault = str(error)
        except KeyboardInterrupt:
            self.fault = "Stopped before there was a plan."
        except Exception as error:  # a thread that dies in silence would leave the page waiting
            self.fault = (
                f"Something went wrong that should not ({type(error).__name__}: {error}). The job file is untouched."
            )
            raise
        finally:
            self._done.set()
