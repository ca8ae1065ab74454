"""How long a workshop job takes to be mended after a leaf is lost: ``python -m tests.bench.bench_repair [FOLDER]``.

Eight bays and twelve drawn boards. By command each time a new process, its start and its imports counted; in the app
what is known stays in memory. All times are processor time, so that other work on the machine does not count. FOLDER
keeps the job, so that it need not be drawn and planned again.
"""

from __future__ import annotations

import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2

from grainplan import changes, hand, looks, steps
from grainplan.jobfolder.planfile import read_plan
from tests.drawn.flat import grow_any
from tests.drawn.sawn_job import write_job

BAYS = "".join(
    f'[[bay]]\nname = "bay {place}"\nwidth = 250\nupper = 300\nlower = 650\nrail = 50\n' for place in range(1, 9)
)
SEEDS = {chr(ord("A") + place): 7200 + place for place in range(12)}
LOST = '\n[[leaf]]\nleaf = "{name}"\nlost = "it split"\n'


def plan_in_a_new_process(job: Path) -> float:
    """`grainplan plan` as the maker types it."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-m", "grainplan", "plan", str(job)], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def copy_job(job: Path) -> Path:
    """A copy to be changed; files keep their times, by which they are known."""
    copy = job.parent / "changed"
    shutil.rmtree(copy, ignore_errors=True)
    return Path(shutil.copytree(job, copy))


def measure_commands(job: Path) -> None:
    """Three leaves lost, one at a time; three bays kept."""
    plan = read_plan(steps.open_job(job))
    print(f"planned again, nothing changed: {plan_in_a_new_process(copy_job(job)):.2f} s")
    for bay in plan.bays[:3]:
        copy = copy_job(job)
        with (copy / "job.toml").open("a", encoding="utf-8") as file:
            file.write(LOST.format(name=bay.leaves[0].name))
        print(f"a leaf of {bay.name} lost, by command: {plan_in_a_new_process(copy):.2f} s")
    for bay in plan.bays[:3]:
        copy = copy_job(job)
        changes.keep_leaves(steps.open_job(copy), bay)
        print(f"{bay.name} kept, by command: {plan_in_a_new_process(copy):.2f} s")


def measure_app(job: Path) -> None:
    """The same where the job lies open."""
    copy = copy_job(job)
    outcome = steps.reach_plan(copy)
    tell("seams found on the disk when the job is opened", lambda: looks.compare_seams(outcome))
    first, second, third, *_ = outcome.plan.bays
    for words in ("first", "next"):
        tell(f"{words} bay turned by hand", lambda: hand.turn_bay(outcome, third.name))
    tell("a bay slid by hand", lambda: hand.slide_bay(outcome, second.name, along_mm=20.0))
    tell("two bays change places", lambda: hand.change_places(outcome, first.name, second.name))
    kept = changes.keep_leaves(outcome.job, first)
    tell("first answer after a bay is kept", lambda: steps.plan_again(outcome, kept))
    with (copy / "job.toml").open("a", encoding="utf-8") as file:
        file.write(LOST.format(name=third.leaves[0].name))
    lost = steps.open_job(copy)
    tell("mended after a leaf is lost", lambda: steps.plan_again(outcome, lost))


def tell(what: str, do: Callable[[], object]) -> None:
    """Do it, and print how long it took."""
    start = time.process_time()
    do()
    print(f"in the app, {what}: {time.process_time() - start:.2f} s")


def main() -> None:
    """Draw and plan the job where it is not there yet, then measure."""
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as made:
        job = Path(sys.argv[1] if len(sys.argv) > 1 else made) / "job"
        if not job.is_dir():
            write_job(job, {name: grow_any(seed, length_mm=1400.0) for name, seed in SEEDS.items()}, BAYS)
        print(f"planned the first time, or from what lies there: {plan_in_a_new_process(job):.2f} s")
        measure_commands(job)
        measure_app(job)


if __name__ == "__main__":
    main()
