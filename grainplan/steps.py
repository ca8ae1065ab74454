"""The few steps from a job folder to the bandsaw, shared by the command line and the app.

Each step takes what the one before it gave, so that both edges show the same numbers.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from grainplan.boardmeasure import Counting, LeafOffer, offer_leaves
from grainplan.boards import BROAD_SIDES, Flaw, MeasuredBoard, RoughBoard
from grainplan.choice import Outcome, choose_again, resaw_as, see_job, size_bay
from grainplan.errors import GrainplanError, JobFileError, NotFound, PhotoError, PlanError
from grainplan.inside import InsideQuestion, fit_board, foresee_all
from grainplan.job import Job
from grainplan.jobfolder.boardsfile import read_known_boards, round_figures, write_boards
from grainplan.jobfolder.editing import new_job
from grainplan.jobfolder.planfile import PLAN_FILE, read_plan, write_plan
from grainplan.jobfolder.reading import MissingPhotos, read_job
from grainplan.jobfolder.safesave import replace_file
from grainplan.match.seen import keep_compared
from grainplan.movement import Movement, Wood, find_moisture_in_air, read_cut, work_out_movement
from grainplan.photos.measure import measure_board
from grainplan.pieces import cut_free
from grainplan.plan import Plan
from grainplan.progress import Progress, ShouldStop, keep_quiet, never_stop, part_of
from grainplan.repair import hold_done, list_hurt, plan_on, repair_plan, replace_keeps
from grainplan.resaw import suggest_pieces
from grainplan.shop import Room
from grainplan.show.foretold import save_foretold
from grainplan.show.labels import draw_labels
from grainplan.show.markers import draw_markers
from grainplan.show.preview import gather_piece, save_previews
from grainplan.show.sheets import draw_sheets
from grainplan.show.tables import tabulate_plan
from grainplan.sight import INSIDE_FOLDER, Looking
from grainplan.species import find_species
from grainplan.units import Units, format_length
from grainplan.wood.flaws import propose_flaws
from grainplan.wood.grain import find_pith_line, measure_grain
from grainplan.wood.kinds import guess_kind
from grainplan.wood.sapwood import propose_sapwood
from grainplan.wood.solid import InsideView
from grainplan.wood.solid_cut import draw_cut, lay_crosscut, lay_rip

SAMPLE = "hall-cupboard"
CutKind = Literal["depth", "crosscut", "rip"]


def open_job(folder: Path, *, missing_photos: MissingPhotos = "refused") -> Job:
    """Read and check a job folder; :class:`JobFileError` tells everything that is wrong with it.

    With `missing_photos` "told", a photo that is not there stands in the job's `missing_photos` alone.
    """
    return read_job(folder, missing_photos=missing_photos)


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
        boards.append(known.get(board.name) or round_figures(measure_one(job, board, progress=share)))
        if should_stop():
            write_boards(job, boards)
            raise KeyboardInterrupt
    if len(known) < len(boards):
        write_boards(job, boards)
    progress(1.0, "boards are measured")
    return tuple(boards)


def measure_one(job: Job, board: RoughBoard, *, progress: Progress = keep_quiet) -> MeasuredBoard:
    """Everything that the photos of one board tell."""
    measured = measure_board(board, progress=part_of(progress, 0.0, 0.5))
    progress(0.5, f"board {board.name}: reading the grain")
    pictures = {side: found.picture for side, found in measured.sides.items()}
    line = find_pith_line(pictures)
    pith = None if isinstance(line, NotFound) else line
    progress(0.7, f"board {board.name}: looking for flaws")
    proposed = [f for on in BROAD_SIDES if on in pictures for f in propose_flaws(pictures[on], on, known=board.flaws)]
    proposed += propose_sapwood(pictures)
    missing = [f for f in measured.flaws if f.found_by == "program"]  # seen beside what lies around the board
    proposed = [f for f in proposed if not any(m.answers(f) for m in missing)]
    return replace(
        measured,
        grain=measure_grain(pictures, job.ring_bands, pith=pith),
        pith=pith,
        flaws=(*measured.flaws, *board.list_open(proposed)),
    )


def describe_board(board: MeasuredBoard, job: Job) -> str:
    """What was measured on a board and what it gives, for the maker: a line, then its leaves, then doubts."""
    grain, units = board.grain, job.units
    length, width = (format_length(size.value, units) for size in (board.length_mm, board.width_mm))
    told = [f"{board.name}: {length} × {width}"]
    if grain.sawn is not None and grain.ring_angle_deg is not None:
        told.append(f"{grain.sawn} sawn, rings at {grain.ring_angle_deg:.0f}° to the face")
    if grain.ring_spacing_mm is not None:
        told.append(f"{grain.ring_spacing_mm:.1f} mm a ring")
    if grain.angle_deg is not None:
        told.append(f"grain runs {abs(grain.angle_deg):.1f}° off the length")
    if grain.run_out_deg is not None:
        lean = grain.run_out_deg
        told.append(f"fibres run out of the face by {abs(lean.value):.1f}° ± {lean.doubt:.1f}°")
    offers = offer_leaves(
        board.board,
        job.shop,
        finished_mm=job.panel.thickness_mm,
        ring_angle_deg=grain.ring_angle_deg,
        counting=Counting(units, job.rounding),
    )
    caveats = [*board.caveats, *grain.caveats, *(c for side in board.sides.values() for c in side.caveats)]
    doubtful = [_describe_flaw(flaw, units) for flaw in board.flaws if flaw.found_by == "program"]
    if doubtful:
        doubtful.append(
            "these rule no place out, they cost where they show; enter what is one under [[board.flaw]] to keep it out "
            "of every panel, and what is none under clear"
        )
    lines = [*(_describe_offer(offer, job) for offer in offers), *doubtful, *dict.fromkeys(caveats)]
    return "\n".join([", ".join(told), *(f"    {line}" for line in lines)])


def _describe_flaw(flaw: Flaw, units: Units) -> str:
    """A flaw that the program proposes, for the maker to accept or not."""
    x, y = (format_length(v, units) for v in (flaw.box.x0, flaw.box.y0))
    size = f"{format_length(flaw.box.width, units)} × {format_length(flaw.box.height, units)}"
    return (
        f"{guess_kind(flaw)} on the {flaw.on}, {size}, {x} from the foot and {y} from the face edge "
        f"({flaw.confidence:.0%} sure)"
    )


def _describe_offer(offer: LeafOffer, job: Job) -> str:
    """One number of leaves: does it fit, what becomes of the match, what it costs."""
    units = job.units
    leaves = f"{offer.leaves} {'leaf' if offer.leaves == 1 else 'leaves'}"
    if not offer.fits:
        missing = format_length(-offer.spare_mm, units)
        thinner = format_length(max(0.0, offer.finished_leaf_mm), units)
        return f"{leaves}: {missing} too little; they could be {thinner} thick"
    told = [f"{format_length(offer.spare_mm, units)} to spare" + (", tight" if offer.tight else "")]
    if offer.leaves > 1:
        step = "" if offer.mate_step_mm is None else f", ring lines step {format_length(offer.mate_step_mm, units)}"
        told.append(f"mates {format_length(offer.mate_gap_mm, units)} apart{step}")
    wood = "board feet" if units == "in" else "m³"
    cost = "" if offer.cost_per_leaf is None else f" for {offer.cost_per_leaf:.2f}"
    told.append(f"{offer.used_share:.0%} of the thickness used")
    told.append(f"{offer.wood_per_leaf:.{2 if units == 'in' else 4}f} {wood} a leaf{cost}")
    return f"{leaves}: {'; '.join(told)}"


def look_inside(job: Job, name: str, cut: tuple[CutKind, float], *, progress: Progress = keep_quiet) -> InsideView:
    """What a cut will lay bare inside a board, board frame.

    Parameters
    ----------
    job : Job
    name : str
        Of the board.
    cut : ("depth", "crosscut" or "rip", float)
        Where it goes, mm: from the face side as photographed, from the foot, or from the face edge.
    progress : callable

    Raises
    ------
    GrainplanError
        When the job has no such board, the board is not so large, or its photos do not determine the rings.
    """
    boards = {board.name: board for board in job.boards}
    if name not in boards:
        raise GrainplanError(f"the job has no board {name}; it has {', '.join(boards)}")
    kind, at_mm = cut
    board = boards[name]
    size = {"depth": board.thickness_mm, "crosscut": board.length_mm, "rip": board.largest_width_mm}[kind]
    if not 0 <= at_mm <= size:
        word = {"depth": "thick", "crosscut": "long", "rip": "wide"}[kind]
        told, asked = (format_length(value, job.units) for value in (size, at_mm))
        raise GrainplanError(f"board {name} is {told} {word}; a cut at {asked} lies outside it")
    measured = {board.name: board for board in measure(job, progress=part_of(progress, 0.0, 0.4))}[name]
    looking = part_of(progress, 0.4, 1.0)
    if kind == "depth":
        found = foresee_all([InsideQuestion(measured, (at_mm,))], job.folder / INSIDE_FOLDER, progress=looking)[name]
        if not isinstance(found, NotFound):
            return found[0]
        raise GrainplanError(f"board {name}: {found.reason}")
    looking(0.0, f"board {name}: looking inside")
    solid = fit_board(measured)
    if isinstance(solid, NotFound):
        raise GrainplanError(f"board {name}: {solid.reason}")
    lay = lay_crosscut if kind == "crosscut" else lay_rip
    return draw_cut(solid, lay(solid.grid.size_mm, min(at_mm, solid.grid.size_mm[0 if kind == "crosscut" else 1])))


def run_plan(
    folder: Path, *, workers: int = 1, progress: Progress = keep_quiet, should_stop: ShouldStop = never_stop
) -> Outcome:
    """From a job folder to `out/plan.json`; `workers` boards are looked into at once."""
    job = open_job(folder)
    boards = measure(job, progress=part_of(progress, 0.0, 0.2), should_stop=should_stop)
    watched = part_of(progress, 0.2, 1.0)
    return plan_measured(job, boards, looking=Looking(workers, watched, should_stop))


def plan_measured(
    job: Job,
    boards: tuple[MeasuredBoard, ...],
    *,
    before: Outcome | None = None,
    looking: Looking | None = None,
) -> Outcome:
    """From boards that are measured to `out/plan.json`; where leaves are lost, the plan that lies there is mended.

    Parameters
    ----------
    job : Job
    boards : tuple of MeasuredBoard
    before : Outcome, optional
        The last choice where it is at hand: what was seen and compared for it need not be seen and compared again.
    looking : Looking, optional
        How many boards are looked into at once, who is told, who may stop it.
    """
    earlier: Plan | Outcome | None = before
    if earlier is None:
        with suppress(PlanError):
            earlier = read_plan(job, of_any_state=True)
    outcome = plan_on(job, boards, earlier, looking=looking)
    return _write(job, outcome)


def plan_again(
    before: Outcome, job: Job, *, progress: Progress = keep_quiet, should_stop: ShouldStop = never_stop
) -> Outcome:
    """A new `out/plan.json` after a change of what is kept, left out, weighed or lost alone; the boards are known."""
    if list_hurt(before.plan, job):
        outcome = repair_plan(before, job, progress=progress, should_stop=should_stop)
    else:
        held = hold_done(job, before.plan)
        outcome = replace_keeps(choose_again(before, held, progress=progress, should_stop=should_stop), job)
    return _write(job, outcome)


def _write(job: Job, outcome: Outcome) -> Outcome:
    """The plan first, then the seams that were compared for it."""
    path = write_plan(job, outcome.plan)
    keep_compared(outcome.books)
    return replace(outcome, files=(path,))


def run_preview(folder: Path, *, progress: Progress = keep_quiet) -> list[Path]:
    """Draw the plan of a job folder; the plan is made first where there is none of this state of the job."""
    outcome = reach_plan(folder, progress=part_of(progress, 0.0, 0.7))
    return draw(outcome, progress=part_of(progress, 0.7, 1.0))


def draw(outcome: Outcome, *, progress: Progress = keep_quiet) -> list[Path]:
    """Write front.png, back.png, a picture a bay, and for each leaf photo what had been foretold above it."""
    piece, out = gather_piece(outcome.job, outcome.plan, outcome.surfaces), outcome.job.folder / "out"
    pictures = save_previews(piece, out, progress=part_of(progress, 0.0, 0.9))
    return pictures + save_foretold(outcome.foretold, out, units=outcome.job.units)


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


def print_markers(path: Path, *, letter: bool = False) -> None:
    """Write the scale sheets as one PDF, to be printed at true size."""
    replace_file(path, draw_markers("Letter" if letter else "A4"))


def reach_plan(folder: Path, *, progress: Progress = keep_quiet) -> Outcome:
    """The plan of a job folder as it stands, or a new one where the job has changed since."""
    job = open_job(folder)
    try:
        plan = read_plan(job)
    except PlanError:
        return run_plan(folder, progress=progress)
    job, boards = cut_free(job, measure(job, progress=part_of(progress, 0.0, 0.3)))
    return recall_plan(plan, job, boards, progress=part_of(progress, 0.3, 1.0))


def recall_plan(plan: Plan, job: Job, boards: tuple[MeasuredBoard, ...], *, progress: Progress = keep_quiet) -> Outcome:
    """A plan that was read back from `out/`, with what is seen of its surfaces.

    Parameters
    ----------
    plan : Plan
    job : Job
        With its pieces as boards of their own.
    boards : tuple of MeasuredBoard
        The same boards.
    """
    sight = see_job(job, boards, resaw_as(plan, job), progress=progress)
    return Outcome(job, boards, plan, sight.surfaces, (job.folder / PLAN_FILE,), foretold=sight.foretold)


def run_all(
    folder: Path, *, workers: int = 1, progress: Progress = keep_quiet, should_stop: ShouldStop = never_stop
) -> Outcome:
    """A job folder all the way: boards measured, leaves chosen, pictures drawn, sheets written."""
    watched = part_of(progress, 0.0, 0.8)
    outcome = run_plan(folder, workers=workers, progress=watched, should_stop=should_stop)
    pictures = draw(outcome, progress=part_of(progress, 0.8, 0.95))
    sheets = print_sheets(outcome, progress=part_of(progress, 0.95, 1.0))
    return replace(outcome, files=(*outcome.files, *pictures, *sheets))


@dataclass(frozen=True, slots=True)
class Checked:
    """What a job and its photos are like: what must be mended, and what the maker should know."""

    faults: tuple[str, ...]
    remarks: tuple[str, ...] = ()


def check_job(folder: Path, *, progress: Progress = keep_quiet) -> Checked:
    """Read a job and all its photos, and tell everything that is wrong or doubtful, a sentence each."""
    try:
        job = open_job(folder, missing_photos="told")
    except JobFileError as error:
        return Checked(error.faults)
    faults: list[str] = list(job.missing_photos)
    remarks = list(job.remarks)
    for place, board in enumerate(job.boards):
        progress(place / len(job.boards), f"looking at the photos of board {board.name}")
        try:
            measured = measure_board(board)
        except PhotoError as error:
            if all(photo.path.is_file() for photos in board.photos.values() for photo in photos):
                faults.append(str(error))
            continue
        told = [*measured.caveats, *(c for side in measured.sides.values() for c in side.caveats)]
        remarks += [f"board {board.name}: {caveat}" for caveat in dict.fromkeys(told)]
        remarks += suggest_pieces(board, job.shop, finished_mm=job.panel.thickness_mm)
    for bay in job.bays:
        try:
            size_bay(job, bay)
        except GrainplanError as error:
            faults.append(str(error))
    return Checked(tuple(faults), tuple(remarks))


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


def start_app(folder: Path | None, *, port: int) -> int:
    """Serve the app to this machine's browser until it is stopped; answers with its exit status."""
    here = Path(__file__).parent
    script = here / "app.py" if (here / "app.py").is_file() else here.parent / "app.py"
    command = [sys.executable, "-m", "streamlit", "run", str(script), f"--server.port={port}"]
    command += ["--server.address=localhost", "--browser.gatherUsageStats=false", "--client.toolbarMode=minimal"]
    return subprocess.call([*command, "--", *([str(folder)] if folder else [])])
