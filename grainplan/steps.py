"""The few steps from a job folder to the bandsaw, shared by the command line and the app.

Each step takes what the one before it gave, so that both edges show the same numbers.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from grainplan.aftersaw import SawnLeaf, read_leaf
from grainplan.boards import MeasuredBoard, RoughBoard
from grainplan.boardsfile import read_known_boards, write_boards
from grainplan.errors import GrainplanError, JobFileError, NotFound, PhotoError, PlanError
from grainplan.frame import Bay, BaySize
from grainplan.job import Job
from grainplan.jobedit import new_job
from grainplan.jobfile import read_job
from grainplan.match.assign import choose_leaves
from grainplan.match.request import Request
from grainplan.match.surfaces import LeafSurface, Surfaces, gather_surfaces
from grainplan.movement import Movement, Wood, find_moisture_in_air, read_cut, size_panels, work_out_movement
from grainplan.photos.measure import measure_board
from grainplan.plan import BoardUse, Plan
from grainplan.planfile import PLAN_FILE, read_plan, write_plan
from grainplan.progress import Progress, ShouldStop, keep_quiet, never_stop, part_of
from grainplan.resaw import Resaw, Stock, plan_resaw
from grainplan.safesave import replace_file
from grainplan.shop import Room
from grainplan.show.labels import draw_labels
from grainplan.show.preview import gather_piece, save_previews
from grainplan.show.sheets import draw_sheets
from grainplan.show.tables import tabulate_plan
from grainplan.species import find_species
from grainplan.units import Units, format_length
from grainplan.wood.grain import find_pith_line, measure_grain

SAMPLE = "hall-cupboard"


@dataclass(frozen=True, slots=True)
class Outcome:
    """A job taken all the way, and the files that came of it."""

    job: Job
    boards: tuple[MeasuredBoard, ...]
    plan: Plan
    plan_file: Path
    pictures: tuple[Path, ...] = ()
    sheets: tuple[Path, ...] = ()


def open_job(folder: Path) -> Job:
    """Read and check a job folder; :class:`JobFileError` tells everything that is wrong with it."""
    return read_job(folder)


def find_sample() -> Path:
    """Where the sample job lies: inside the installed package, or beside it in a copy of the repository."""
    here = Path(__file__).parent
    for place in (here / "sample_images" / SAMPLE, here.parent / "sample_images" / SAMPLE):
        if (place / "job.toml").is_file():
            return place
    raise GrainplanError("the sample job is not part of this installation; install grainplan again")


def copy_sample(folder: Path) -> Path:
    """Copy the sample job to a folder of the maker's; an earlier copy keeps its job file as it is.

    Raises
    ------
    GrainplanError
        When the folder exists and holds something else than a job.
    """
    if (folder / "job.toml").is_file():
        return folder
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise GrainplanError(f"{folder} is there already and is not a job folder; name a folder that is new")
    shutil.copytree(find_sample(), folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns("out"))
    return folder


def start_job(folder: Path) -> Path:
    """Start a job folder whose job file explains every line; answers with the file. A job that is there stays."""
    return new_job(folder)


def measure(
    job: Job, *, fresh: bool = False, progress: Progress = keep_quiet, should_stop: ShouldStop = never_stop
) -> tuple[MeasuredBoard, ...]:
    """Turn the photos of every board into square-on pictures and figures, and write `out/boards.json`.

    Parameters
    ----------
    job : Job
    fresh : bool
        Measure every board, even where sizes, photos and corners are what they were.
    progress : callable
    should_stop : callable
        Asked after each board; once it answers True, what was measured so far is written.

    Raises
    ------
    PhotoError
        When a photo cannot be read or its corners cannot be right.
    KeyboardInterrupt
        When it was stopped.
    """
    known: dict[str, MeasuredBoard] = {}
    if not fresh:
        with suppress(PlanError):  # nothing measured yet, or the file is damaged: measure everything
            known = read_known_boards(job)
    boards = []
    for place, board in enumerate(job.boards):
        share = part_of(progress, place / len(job.boards), (place + 1) / len(job.boards))
        boards.append(known.get(board.name) or measure_one(job, board, progress=share))
        if should_stop():
            write_boards(job, boards)
            raise KeyboardInterrupt
    if len(known) < len(boards):
        write_boards(job, boards)
    progress(1.0, "boards are measured")
    return tuple(boards)


def measure_one(job: Job, board: RoughBoard, *, progress: Progress = keep_quiet) -> MeasuredBoard:
    """Everything that the photos of one board tell."""
    measured = measure_board(board, progress=part_of(progress, 0.0, 0.7))
    progress(0.7, f"board {board.name}: reading the grain")
    pictures = {side: found.picture for side, found in measured.sides.items()}
    pith = find_pith_line(pictures)
    return replace(
        measured, grain=measure_grain(pictures, job.ring_bands), pith=None if isinstance(pith, NotFound) else pith
    )


def describe_board(board: MeasuredBoard, units: Units) -> str:
    """What was measured on a board, in a line for the maker."""
    grain = board.grain
    told = [
        f"{board.name}: {format_length(board.length_mm.value, units)} × {format_length(board.width_mm.value, units)}"
    ]
    if grain.sawn is not None and grain.ring_angle_deg is not None:
        told.append(f"{grain.sawn} sawn, rings at {grain.ring_angle_deg:.0f}° to the face")
    if grain.ring_spacing_mm is not None:
        told.append(f"{grain.ring_spacing_mm:.1f} mm a ring")
    if grain.angle_deg is not None:
        told.append(f"grain runs {abs(grain.angle_deg):.1f}° off the length")
    caveats = [*board.caveats, *grain.caveats, *(c for side in board.sides.values() for c in side.caveats)]
    return "\n".join([", ".join(told), *(f"    {caveat}" for caveat in dict.fromkeys(caveats))])


def size_bay(job: Job, bay: Bay, *, boards: Sequence[MeasuredBoard] = ()) -> BaySize:
    """The panels of a bay, from sight size to rough, with room for the board of the job that moves most.

    No board is chosen yet, so the most restless one counts. Boards that were measured move by their own ring angle, the
    others as plain-sawn wood.
    """
    angles = {board.name: board.grain.ring_angle_deg for board in boards}
    woods = {Wood(job.species[b.species], b.moisture_percent, angles.get(b.name)) for b in job.boards}
    sizes = [size_panels(bay, job.panel, shop=job.shop, climate=job.climate, wood=wood) for wood in woods]
    return max(sizes, key=lambda size: size.float_mm)


def resaw_boards(job: Job, *, tight: bool = False) -> dict[str, Resaw | NotFound]:
    """How every board is resawn, or why it gives no leaf.

    Parameters
    ----------
    job : Job
    tight : bool
        Whether a board may give the last leaf that it has room for, though a cut that wanders would spoil one. Leaves
        that the maker has named, to keep them or because they are sawn already, are there in any case.
    """
    named = [*(leaf for keep in job.keeps for leaf in keep.leaves), *(report.leaf for report in job.leaf_reports)]
    return {
        board.name: _resaw_board(
            board, job, tight=tight, least=max((leaf.number for leaf in named if leaf.board == board.name), default=1)
        )
        for board in job.boards
    }


def _resaw_board(board: RoughBoard, job: Job, *, tight: bool, least: int) -> Resaw | NotFound:
    stock, thickness = Stock.of(board), job.panel.thickness_mm
    most = plan_resaw(stock, job.shop, finished_mm=thickness)
    if isinstance(most, NotFound) or tight or not most.tight or most.leaves <= least:
        return most
    fewer = plan_resaw(stock, job.shop, finished_mm=thickness, leaves=most.leaves - 1)
    assert not isinstance(fewer, NotFound)
    spare, cuts = format_length(most.spare_mm, job.units), most.leaves - 1
    told = f"{most.leaves} leaves would be tight ({spare} to spare for {cuts} cuts), so {fewer.leaves} are planned"
    return replace(fewer, caveats=(*fewer.caveats, told))


def make_plan(
    job: Job,
    boards: tuple[MeasuredBoard, ...],
    *,
    progress: Progress = keep_quiet,
    should_stop: ShouldStop = never_stop,
) -> Plan:
    """Choose leaves for every bay; boards are sawn tightly only where bays would stay empty otherwise."""
    first = choose_leaves(_make_request(job, boards, tight=False), progress=progress, should_stop=should_stop)
    if not first.unfilled or should_stop() or resaw_boards(job, tight=True) == resaw_boards(job):
        return first
    second = choose_leaves(_make_request(job, boards, tight=True), progress=progress, should_stop=should_stop)
    return second if len(second.unfilled) < len(first.unfilled) else first


def _make_request(job: Job, boards: tuple[MeasuredBoard, ...], *, tight: bool) -> Request:
    uses = {name: _use_of(name, found) for name, found in resaw_boards(job, tight=tight).items()}
    sawn = read_leaves(job)
    return Request(
        title=job.title,
        job_sha256=job.sha256,
        bays=job.bays,
        sizes={bay.name: size_bay(job, bay, boards=boards) for bay in job.bays},
        boards=boards,
        uses=uses,
        making=job.panel,
        shop=job.shop,
        weights=job.weights,
        kept=job.keeps,
        left_out=job.leave_outs,
        surfaces=see_surfaces(boards, uses.values(), sawn=sawn),
        lost={leaf.leaf: leaf.lost for leaf in sawn if leaf.lost},
        units=job.units,
    )


def read_leaves(job: Job) -> tuple[SawnLeaf, ...]:
    """The leaves that the maker has reported after the saw: their real surfaces, and which of them are gone."""
    return tuple(read_leaf(report, job) for report in job.leaf_reports)


def see_surfaces(
    boards: Sequence[MeasuredBoard], uses: Iterable[BoardUse], *, sawn: Sequence[SawnLeaf] = ()
) -> Surfaces:
    """The picture of every surface of every leaf that the boards are sawn into, real ones before all others."""
    real = {
        (leaf.leaf, surface): LeafSurface(picture, "leaf photo")
        for leaf in sawn
        for surface, picture in leaf.pictures.items()
    }
    return gather_surfaces({b.name: b for b in boards}, {use.name: use.leaves for use in uses}, better=real)


def run_plan(folder: Path, *, progress: Progress = keep_quiet, should_stop: ShouldStop = never_stop) -> Outcome:
    """From a job folder to `out/plan.json`."""
    job = open_job(folder)
    boards = measure(job, progress=part_of(progress, 0.0, 0.6), should_stop=should_stop)
    return plan_measured(job, boards, progress=part_of(progress, 0.6, 1.0), should_stop=should_stop)


def plan_measured(
    job: Job,
    boards: tuple[MeasuredBoard, ...],
    *,
    progress: Progress = keep_quiet,
    should_stop: ShouldStop = never_stop,
) -> Outcome:
    """From boards that are measured to `out/plan.json`."""
    plan = make_plan(job, boards, progress=progress, should_stop=should_stop)
    return Outcome(job, boards, plan, write_plan(job, plan))


def run_preview(folder: Path, *, progress: Progress = keep_quiet) -> list[Path]:
    """Draw the plan of a job folder; the plan is made first where there is none of this state of the job."""
    outcome = reach_plan(folder, progress=part_of(progress, 0.0, 0.7))
    return draw(outcome, progress=part_of(progress, 0.7, 1.0))


def draw(outcome: Outcome, *, progress: Progress = keep_quiet) -> list[Path]:
    """Write front.png, back.png and a picture a bay."""
    piece = gather_piece(
        outcome.job, outcome.plan, see_surfaces(outcome.boards, outcome.plan.boards, sawn=read_leaves(outcome.job))
    )
    return save_previews(piece, outcome.job.folder / "out", progress=progress)


def run_sheets(folder: Path, *, progress: Progress = keep_quiet) -> list[Path]:
    """Write the shop sheets of a job folder; the plan is made first where there is none of this state of the job."""
    outcome = reach_plan(folder, progress=part_of(progress, 0.0, 0.8))
    return print_sheets(outcome, progress=part_of(progress, 0.8, 1.0))


def print_sheets(outcome: Outcome, *, progress: Progress = keep_quiet) -> list[Path]:
    """Write sheets.pdf, labels.pdf and the tables to `out/`, each in one step."""
    job, plan, out = outcome.job, outcome.plan, outcome.job.folder / "out"
    progress(0.0, "drawing the sheets")
    written = {"sheets.pdf": draw_sheets(job, plan, measured=outcome.boards)}
    progress(0.6, "drawing the labels")
    written["labels.pdf"] = draw_labels(job, plan)
    written |= {name: table.encode("utf-8-sig") for name, table in tabulate_plan(job, plan).items()}
    for name, content in written.items():
        replace_file(out / name, content)
    return [out / name for name in written]


def reach_plan(folder: Path, *, progress: Progress = keep_quiet) -> Outcome:
    """The plan of a job folder as it stands, or a new one where the job has changed since."""
    job = open_job(folder)
    try:
        plan = read_plan(job)
    except PlanError:
        return run_plan(folder, progress=progress)
    return Outcome(job, measure(job, progress=progress), plan, job.folder / PLAN_FILE)


def run_all(folder: Path, *, progress: Progress = keep_quiet, should_stop: ShouldStop = never_stop) -> Outcome:
    """A job folder all the way: boards measured, leaves chosen, pictures drawn, sheets written."""
    outcome = run_plan(folder, progress=part_of(progress, 0.0, 0.7), should_stop=should_stop)
    pictures = draw(outcome, progress=part_of(progress, 0.7, 0.9))
    sheets = print_sheets(outcome, progress=part_of(progress, 0.9, 1.0))
    return replace(outcome, pictures=tuple(pictures), sheets=tuple(sheets))


def check_job(folder: Path) -> tuple[str, ...]:
    """Everything that is wrong with a job and its photos, a sentence each; empty where all is well."""
    try:
        job = open_job(folder)
    except JobFileError as error:
        return error.faults
    faults = []
    for board in job.boards:
        try:
            faults += list(measure_board(board).caveats)
        except PhotoError as error:
            faults.append(str(error))
    for bay in job.bays:
        try:
            size_bay(job, bay)
        except GrainplanError as error:
            faults.append(str(error))
    return tuple(faults)


@dataclass(frozen=True, slots=True)
class MovementQuestion:
    """What is asked of the movement alone: a width of one wood, from one moisture or air to another air."""

    species: str
    width_mm: float
    to: Room
    moisture_percent: float | None = None
    come_from: Room | None = None
    cut: str = "plain"


def answer_movement(question: MovementQuestion) -> Movement:
    """How much that width changes.

    Raises
    ------
    GrainplanError
        When the species is not known, or neither a moisture nor an air to come from is given, or both are.
    ValueError
        When a number is outside what the formulas hold for.
    """
    found = find_species(question.species)
    if isinstance(found, NotFound):
        raise GrainplanError(found.reason)
    if (question.moisture_percent is None) == (question.come_from is None):
        raise GrainplanError(
            "say how moist the wood is now, either as --moisture or as --from-temperature and --from-humidity"
        )
    before = question.moisture_percent
    if before is None:
        assert question.come_from is not None
        before = find_moisture_in_air(question.come_from.temperature_c, question.come_from.humidity_percent)
    after = find_moisture_in_air(question.to.temperature_c, question.to.humidity_percent)
    return work_out_movement(question.width_mm, Wood(found, before, read_cut(question.cut)), moisture_to=after)


def _use_of(name: str, found: Resaw | NotFound) -> BoardUse:
    """What a board is sawn into, before anybody has chosen from it."""
    if isinstance(found, NotFound):
        return BoardUse(name, 0, 0.0, (), 0.0, 0.0, False, 0.0, (), 0.0, (found.reason,))
    return BoardUse(
        name=name,
        leaves=found.leaves,
        flat_thickness_mm=found.flat_thickness_mm,
        sawn_leaf_mm=found.sawn_leaf_mm,
        finished_leaf_mm=found.finished_leaf_mm,
        spare_mm=found.spare_mm,
        tight=found.tight,
        mate_gap_mm=found.mate_gap_mm,
        cuts_mm=found.cuts_mm,
        used_fraction=0.0,
        caveats=found.caveats,
    )


def start_app(folder: Path | None, *, port: int) -> int:
    """Serve the app to this machine's browser until it is stopped; answers with its exit status."""
    here = Path(__file__).parent
    script = here / "app.py" if (here / "app.py").is_file() else here.parent / "app.py"
    command = [sys.executable, "-m", "streamlit", "run", str(script), f"--server.port={port}"]
    command += ["--server.address=localhost", "--browser.gatherUsageStats=false", "--client.toolbarMode=minimal"]
    return subprocess.call([*command, "--", *([str(folder)] if folder else [])])
