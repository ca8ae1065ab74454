"""The command line: words in, words out. Every number comes from `grainplan.steps` or the arithmetic rooms.

Nothing heavy is imported here at the top, so that ``grainplan --help`` answers at once.
"""

from __future__ import annotations

import json
import signal
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

from grainplan.errors import GrainplanError
from grainplan.progress import Progress
from grainplan.units import format_length, parse_length, parse_temperature

if TYPE_CHECKING:
    from grainplan.movement import Movement
    from grainplan.plan import Plan
    from grainplan.resaw import LeavesAnswer
    from grainplan.steps import Checked
    from grainplan.units import Units

EXIT_MEND, EXIT_MISSPELT, EXIT_INTERRUPTED = 1, 2, 130


class LengthType(click.ParamType[float]):
    """A length with its unit, as millimetres."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read the text; what is wrong is told as the maker would be told in a job file."""
        if isinstance(value, float):
            return value
        try:
            return parse_length(str(value), "in")
        except ValueError as error:
            raise _name_option(param, error) from None


class TemperatureType(click.ParamType[float]):
    """A temperature with its scale, as degrees Celsius."""

    name = "temperature"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read the text."""
        if isinstance(value, float):
            return value
        try:
            return parse_temperature(str(value))
        except ValueError as error:
            raise _name_option(param, error) from None


def _name_option(param: click.Parameter | None, error: ValueError) -> GrainplanError:
    return GrainplanError(f"{param.opts[0]}: {error}" if param else str(error))


LENGTH, TEMPERATURE = LengthType(), TemperatureType()
JOB = click.argument("job", type=click.Path(path_type=Path))
AS_JSON = click.option("--json", "as_json", is_flag=True, help="A machine's answer on standard output.")


class Commands(click.Group):
    """A group that lists its commands in the order of the work, and knows the likely word for a misspelt one."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The commands as they stand in this file."""
        return list(self.commands)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, or say which one was probably meant."""
        import difflib

        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            near = difflib.get_close_matches(args[0], self.commands, n=1)
            hint = f" Did you mean {near[0]}?" if near else ""
            raise click.UsageError(f"there is no command {args[0]}.{hint}", ctx) from None


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="grainplan")
def cli() -> None:
    """Plan resawn, grain-matched panels from photos of the rough boards."""


@cli.command()
@click.argument("folder", type=click.Path(path_type=Path), default="hall-cupboard")
@AS_JSON
def demo(folder: Path, as_json: bool) -> None:
    """Copy the sample job to FOLDER and take it all the way."""
    from grainplan import steps
    from grainplan.jobfolder.planfile import plan_to_json

    job_folder = steps.copy_sample(folder)
    say(f"The sample job is in {job_folder}. Its job.toml is there to be changed.")
    with shown_progress("hall cupboard") as (progress, stop):
        result = steps.run_all(job_folder, workers=count_workers(), progress=progress, should_stop=stop)
    answer(as_json, lambda: plan_to_json(result.plan), lambda: tell_plan(result.plan, result.job.units))
    tell_files(result.files)


@cli.command()
@click.argument("folder", type=click.Path(path_type=Path))
@AS_JSON
def new(folder: Path, as_json: bool) -> None:
    """Start a job in FOLDER whose job.toml explains every line."""
    from grainplan.jobfolder.editing import new_job

    path = new_job(folder)
    answer(
        as_json, lambda: {"job": str(path)}, lambda: say(f"Started {path}. Open it in an editor and read it through.")
    )


@cli.command()
@JOB
@AS_JSON
def check(job: Path, as_json: bool) -> None:
    """Read the job and its photos, and tell everything that is wrong at once."""
    from grainplan import steps

    with shown_progress("checking") as (progress, _):
        checked = steps.check_job(job, progress=progress)
    answer(
        as_json,
        lambda: {"faults": list(checked.faults), "remarks": list(checked.remarks)},
        lambda: tell_checked(checked),
    )
    if checked.faults:
        raise SystemExit(EXIT_MEND)


@cli.command()
@JOB
@click.option("--write-corners", is_flag=True, help="Write the corners that are found into job.toml, to be corrected.")
@click.option(
    "--write-wane", is_flag=True, help="Write wane and missing corners that are found into job.toml, as flaws."
)
@AS_JSON
def measure(job: Path, write_corners: bool, write_wane: bool, as_json: bool) -> None:
    """Turn the photos into measured boards: out/boards.json and out/boards/."""
    from grainplan import changes, steps
    from grainplan.jobfolder.boardsfile import BOARDS_FILE

    opened = steps.open_job(job)
    if write_corners:
        opened, told = changes.write_found_corners(opened)
        say("\n".join(told) or "Every photo has its corners typed.")
    with shown_progress("measuring") as (progress, stop):
        boards = steps.measure(opened, progress=progress, should_stop=stop)
    if write_wane:
        opened, told = changes.write_found_wane(opened, boards)
        say("\n".join(told) or "No wood is seen to be missing.")
    answer(
        as_json,
        lambda: json.loads((opened.folder / BOARDS_FILE).read_text(encoding="utf-8")),
        lambda: click.echo("\n".join(steps.describe_board(board, opened) for board in boards)),
    )


@cli.command()
@click.option("--thickness", "thickness_mm", type=LENGTH, required=True, help="Of the rough board, by caliper.")
@click.option("--finished", "finished_mm", type=LENGTH, required=True, help="Thickness of a finished leaf.")
@click.option("--kerf", "kerf_mm", type=LENGTH, default="1/16 in", show_default=True, help="Of the resaw blade.")
@click.option("--planing", "planing_mm", type=LENGTH, default="1/32 in", show_default=True, help="A sawn surface.")
@click.option("--outer-planing", "outer_planing_mm", type=LENGTH, default="1/32 in", show_default=True)
@click.option("--cup", "cup_mm", type=LENGTH, default="0 in", help="Hollow across the width.")
@click.option("--bow", "bow_mm", type=LENGTH, default="0 in", help="Hollow along the length.")
@click.option("--twist", "twist_mm", type=LENGTH, default="0 in", help="Lift of the fourth corner.")
@click.option("--saw-tolerance", "saw_tolerance_mm", type=LENGTH, default="1/64 in", show_default=True)
@AS_JSON
def leaves(as_json: bool, **lengths_mm: float) -> None:
    """How many leaves a board gives, and where the cuts lie. Lengths with their unit: "15/16 in", "24 mm"."""
    from dataclasses import asdict

    from grainplan.resaw import Stock, answer_leaves
    from grainplan.shop import Shop

    finished_mm = lengths_mm.pop("finished_mm")
    stock = Stock(**{name: lengths_mm.pop(name) for name in ("thickness_mm", "cup_mm", "bow_mm", "twist_mm")})
    found = answer_leaves(stock, Shop(**lengths_mm), finished_mm=finished_mm)
    answer(as_json, lambda: asdict(found), lambda: tell_leaves(found))


@cli.command()
@click.option("--species", required=True, help='As makers say it: "white ash".')
@click.option("--width", "width_mm", type=LENGTH, required=True, help="Across the grain.")
@click.option("--moisture", "moisture_percent", type=float, help="Of the wood as it is now, per cent.")
@click.option("--from-temperature", "from_c", type=TEMPERATURE, help='Where it lay till now: "68 F".')
@click.option("--from-humidity", "from_humidity", type=float, help="Per cent.")
@click.option("--to-temperature", "to_c", type=TEMPERATURE, required=True, help='Where it will be: "77 F".')
@click.option("--to-humidity", "to_humidity", type=float, required=True, help="Per cent.")
@click.option("--cut", default="plain", show_default=True, help="plain, quarter, or the ring angle in degrees.")
@AS_JSON
def movement(as_json: bool, **told: Any) -> None:
    """How much a panel moves from one air to another."""
    from grainplan import steps
    from grainplan.shop import Room

    if (told["from_c"] is None) != (told["from_humidity"] is None):
        raise GrainplanError("an air is a temperature and a humidity; give --from-temperature and --from-humidity")
    moved = steps.answer_movement(
        steps.MovementQuestion(
            species=told["species"],
            width_mm=told["width_mm"],
            to=Room(told["to_c"], told["to_humidity"]),
            moisture_percent=told["moisture_percent"],
            come_from=None if told["from_c"] is None else Room(told["from_c"], told["from_humidity"]),
            cut=told["cut"],
        )
    )
    answer(
        as_json,
        lambda: {"moisture_from": moved.moisture_from, "moisture_to": moved.moisture_to, "change_mm": moved.change_mm},
        lambda: tell_movement(moved),
    )


@cli.command()
@JOB
@click.argument("board")
@click.option("--depth", "depth_mm", type=LENGTH, help="A surface, so far from the face side as photographed.")
@click.option("--crosscut", "crosscut_mm", type=LENGTH, help="The end that a crosscut so far from the foot lays bare.")
@click.option("--rip", "rip_mm", type=LENGTH, help="The edge that a rip so far from the face edge lays bare.")
@click.option("-o", "picture", type=click.Path(path_type=Path), required=True, help="The picture to write.")
@AS_JSON
def inside(job: Path, board: str, picture: Path, as_json: bool, **cuts_mm: float | None) -> None:
    """Predict what a cut inside BOARD will lay bare, before the saw: say one of --depth, --crosscut and --rip."""
    from grainplan import steps
    from grainplan.picture import save_picture

    kinds: tuple[steps.CutKind, ...] = ("depth", "crosscut", "rip")
    asked = [(kind, at) for kind in kinds if (at := cuts_mm[f"{kind}_mm"]) is not None]
    if len(asked) != 1:
        raise click.UsageError("say one of --depth, --crosscut and --rip")
    with shown_progress("looking inside") as (progress, _):
        view = steps.look_inside(steps.open_job(job), board, asked[0], progress=progress)
    save_picture(view.picture, picture)
    answer(
        as_json,
        lambda: {"confidence": round(view.confidence, 3), "caveats": list(view.caveats)},
        lambda: click.echo("\n  ".join([f"confidence {view.confidence:.2f}", *view.caveats])),
    )
    tell_files([picture])


@cli.command()
@JOB
@AS_JSON
def plan(job: Path, as_json: bool) -> None:
    """Choose the leaves for every panel: out/plan.json."""
    from grainplan import steps
    from grainplan.jobfolder.planfile import plan_to_json

    with shown_progress("planning") as (progress, stop):
        result = steps.run_plan(job, workers=count_workers(), progress=progress, should_stop=stop)
    answer(as_json, lambda: plan_to_json(result.plan), lambda: tell_plan(result.plan, result.job.units))
    tell_files(result.files)
    if stop():
        raise KeyboardInterrupt


@cli.command()
@JOB
@AS_JSON
def preview(job: Path, as_json: bool) -> None:
    """Draw the piece in its own wood: out/front.png, out/back.png and a picture a bay."""
    from grainplan import steps

    with shown_progress("drawing") as (progress, _):
        pictures = steps.run_preview(job, progress=progress)
    answer(as_json, lambda: {"pictures": [str(p) for p in pictures]}, lambda: tell_files(pictures))


@cli.command()
@JOB
@AS_JSON
def sheets(job: Path, as_json: bool) -> None:
    """Write what the shop needs: out/sheets.pdf, out/labels.pdf and the tables."""
    from grainplan import steps

    with shown_progress("writing") as (progress, _):
        files = steps.run_sheets(job, progress=progress)
    answer(as_json, lambda: {"files": [str(p) for p in files]}, lambda: tell_files(files))


@cli.command()
@click.option("--paper", type=click.Choice(["A4", "Letter"], case_sensitive=False), default="A4", show_default=True)
@click.option("-o", "sheet", type=click.Path(path_type=Path), default="scale-sheets.pdf", show_default=True)
@AS_JSON
def markers(paper: str, sheet: Path, as_json: bool) -> None:
    """Write scale sheets to print at true size and lay beside a board when it is photographed."""
    from grainplan import steps

    steps.print_markers(sheet, letter=paper.lower() == "letter")
    answer(as_json, lambda: {"files": [str(sheet)]}, lambda: tell_files([sheet]))


@cli.command()
@click.argument("job", type=click.Path(path_type=Path), required=False)
@click.option("--port", type=int, default=8501, show_default=True)
def app(job: Path | None, port: int) -> None:
    """Open the app in the browser, on this machine only."""
    from grainplan import steps

    raise SystemExit(steps.start_app(job, port=port))


def count_workers() -> int:
    """Boards that are looked into at once: one a processor."""
    import os

    return os.cpu_count() or 1


def say(text: str) -> None:
    """A remark for the person at the keyboard, on standard error."""
    click.echo(text, err=True)


def answer(as_json: bool, machine: Callable[[], Any], person: Callable[[], None]) -> None:
    """Give one of the two answers."""
    if as_json:
        click.echo(json.dumps(machine(), ensure_ascii=False, indent=1))
    else:
        person()


@contextmanager
def shown_progress(label: str) -> Iterator[tuple[Progress, Callable[[], bool]]]:
    """Show progress on standard error, and let Ctrl-C ask for an orderly stop; a second one stops at once."""
    asked: list[bool] = []

    def on_interrupt(_signal: int, _frame: FrameType | None) -> None:
        if asked:
            raise KeyboardInterrupt
        asked.append(True)
        say("\nStopping with the best so far. Once more to stop at once.")

    before = signal.signal(signal.SIGINT, on_interrupt)
    try:
        with click.progressbar(
            length=1000, label=label, file=sys.stderr, show_eta=False, item_show_func=lambda words: words
        ) as bar:

            def progress(share: float, doing: str) -> None:
                bar.update(max(0, round(share * 1000) - bar.pos), doing)

            yield progress, lambda: bool(asked)
    finally:
        signal.signal(signal.SIGINT, before)


def tell_checked(checked: Checked) -> None:
    """What is to be mended, then what the maker should know."""
    for fault in checked.faults:
        say(fault)
    say(f"{len(checked.faults)} to mend." if checked.faults else "Nothing is wrong with it.")
    for remark in checked.remarks:
        click.echo(f"  {remark}")


def tell_leaves(found: LeavesAnswer) -> None:
    """The resaw arithmetic in a few lines."""
    cuts = ", ".join(f"{c:.2f}" for c in found.cuts_mm)
    click.echo(
        f"{found.leaves} leaves from {found.flat_thickness_mm:.2f} mm of flat thickness" + (", tight" * found.tight)
    )
    if cuts:
        click.echo(f"cuts from the flattened face at {cuts} mm; mates lie {found.mate_gap_mm:.2f} mm apart")
    for choice in found.choices:
        verdict = f"{choice.spare_mm:.2f} mm to spare" if choice.fits else f"{-choice.spare_mm:.2f} mm too little"
        click.echo(
            f"  {choice.leaves}: {verdict}; with nothing left over each would be {choice.finished_leaf_mm:.2f} mm"
        )
    for caveat in found.caveats:
        click.echo(f"  {caveat}")


def tell_movement(moved: Movement) -> None:
    """The movement in a sentence."""
    click.echo(
        f"From {moved.moisture_from:.1f} to {moved.moisture_to:.1f} % moisture it "
        f"{'grows' if moved.change_mm >= 0 else 'shrinks'} by {abs(moved.change_mm):.2f} mm "
        f"({format_length(abs(moved.change_mm), 'in')}) across the grain."
    )
    for caveat in moved.caveats:
        click.echo(f"  {caveat}")


def tell_plan(plan: Plan, units: Units) -> None:
    """The plan in a few lines."""
    click.echo(f"{plan.status}: cost {plan.cost:.2f}, no plan costs less than {plan.bound:.2f}")
    for bay in plan.bays:
        click.echo(f"  {bay.name}: {bay.why}")
    for unfilled in plan.unfilled:
        click.echo(f"  {unfilled.name} is not filled: {unfilled.reason}")
    for board in plan.boards:
        if not board.used_fraction:
            click.echo(f"  board {board.name} is not needed: do not saw it")
            continue
        cuts = ", ".join(format_length(c, units) for c in board.cuts_mm)
        tight = ", tight" if board.tight else ""
        sawn = f"cuts from the flattened face at {cuts}" if cuts else "not resawn"
        click.echo(f"  board {board.name}: {board.leaves} leaves{tight}; {sawn}")
    for caveat in plan.caveats:
        click.echo(f"  {caveat}")


def tell_files(files: Iterable[Path]) -> None:
    """Where the results are."""
    for path in files:
        say(f"  {path}")


def main() -> None:
    """Run the command line; whatever the maker can mend ends in a sentence and exit status 1."""
    try:
        raise SystemExit(cli(standalone_mode=False) or 0)
    except click.UsageError as error:
        error.show()
        raise SystemExit(EXIT_MISSPELT) from None
    except click.ClickException as error:
        error.show()
        raise SystemExit(EXIT_MEND) from None
    except (GrainplanError, ValueError) as error:
        say(str(error))
        raise SystemExit(EXIT_MEND) from None
    except (KeyboardInterrupt, click.Abort):
        say("Interrupted.")
        raise SystemExit(EXIT_INTERRUPTED) from None
