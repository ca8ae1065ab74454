"""The command line as a maker meets it: words in, words out, exit status."""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from PIL import Image

from grainplan import steps
from tests.conftest import ROOT


def run(*words: str, **more: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "grainplan", *words], capture_output=True, text=True, timeout=400, cwd=ROOT, **more
    )


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return steps.copy_sample(tmp_path_factory.mktemp("job") / "hall-cupboard")


def test_help_names_the_commands_in_the_order_of_the_work_and_loads_nothing_heavy() -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "grainplan", "--help"], capture_output=True, text=True, cwd=ROOT
    )
    commands = [line.split()[0] for line in done.stdout.split("Commands:")[1].splitlines() if line.strip()]
    assert commands[:4] == ["demo", "new", "check", "measure"]
    for heavy in ("numpy", "cv2", "streamlit", "pydantic", "ortools", "PIL"):
        assert heavy not in done.stderr


def test_leaves_as_in_the_job_format() -> None:
    done = run("leaves", "--thickness", "15/16 in", "--finished", "1/4 in", "--cup", "1/32 in", "--json")
    told = json.loads(done.stdout)
    assert done.returncode == 0
    assert told["leaves"] == 2
    assert told["flat_thickness_mm"] == pytest.approx(23.02, abs=0.005)
    assert told["cuts_mm"] == pytest.approx([10.72], abs=0.005)
    assert {"sawn_leaf_mm", "spare_mm", "mate_gap_mm", "tight", "choices"} <= told.keys()


def test_movement_of_the_handbook() -> None:
    """Wood Handbook (2010), p. 13-15 worked example is held in test_movement; here cherry 305 mm at 21 °C (derived)."""
    done = run(
        *("movement", "--species", "black cherry", "--width", "305 mm", "--from-temperature", "21 C"),
        *("--from-humidity", "35", "--to-temperature", "21 C", "--to-humidity", "65", "--json"),
    )
    told = json.loads(done.stdout)
    assert told["moisture_from"] == pytest.approx(6.94, abs=0.02)
    assert told["moisture_to"] == pytest.approx(11.96, abs=0.02)
    assert told["change_mm"] == pytest.approx(3.80, abs=0.02)


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (["laeves"], 2, "Did you mean leaves?"),
        (["leaves"], 2, "--thickness"),
        (["leaves", "--thickness", "4/4", "--finished", "1/4 in"], 1, "caliper"),
        (["leaves", "--thickness", "1 in", "--finished", "0 in"], 1, "greater than 0"),
        (
            ["movement", "--species", "ahs", "--width", "1 in", "--to-temperature", "70 F", "--to-humidity", "40"],
            1,
            "ash",
        ),
        (["plan", "no-such-folder"], 1, "no-such-folder"),
        (["check", "no-such-folder"], 1, "no-such-folder"),
    ],
)
def test_what_is_wrong_is_told_in_a_sentence(words: list[str], status: int, says: str) -> None:
    done = run(*words)
    assert done.returncode == status
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_the_line_from_photos_to_pictures(sample: Path) -> None:
    done = run("plan", str(sample), "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told == json.loads((sample / "out" / "plan.json").read_text())
    assert {bay["name"] for bay in told["bays"]} == {"left door", "right door", "left side", "right side"}
    assert sum(told["cost_parts"].values()) == pytest.approx(told["cost"], abs=0.01)
    drawn = json.loads(run("preview", str(sample), "--json").stdout)["pictures"]
    assert [Path(p).name for p in drawn[:2]] == ["front.png", "back.png"]
    assert all(Path(p).stat().st_size > 10_000 for p in drawn)


def test_the_command_line_and_the_steps_give_the_same_plan(sample: Path) -> None:
    outcome = steps.run_plan(sample)
    told = json.loads(run("plan", str(sample), "--json").stdout)
    assert told["cost"] == pytest.approx(outcome.plan.cost, abs=1e-3)
    assert told["job_sha256"] == outcome.plan.job_sha256


def test_measured_boards_are_kept_until_something_changes(sample: Path) -> None:
    steps.run_plan(sample)
    first = (sample / "out" / "boards.json").stat().st_mtime_ns
    steps.run_plan(sample)
    assert (sample / "out" / "boards.json").stat().st_mtime_ns == first


def test_an_interrupted_command_ends_with_130_and_the_job_unharmed(sample: Path, tmp_path: Path) -> None:
    job = tmp_path / "job"
    shutil.copytree(sample, job, ignore=shutil.ignore_patterns("out"))
    before = (job / "job.toml").read_bytes()
    running = subprocess.Popen(
        [sys.executable, "-m", "grainplan", "plan", str(job)],
        stderr=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        cwd=ROOT,
    )
    time.sleep(1.5)
    os.kill(running.pid, signal.SIGINT)
    _, said = running.communicate(timeout=60)
    assert running.returncode == 130, said
    assert b"Traceback" not in said
    assert (job / "job.toml").read_bytes() == before


def test_found_corners_are_written_to_be_corrected(tmp_path: Path) -> None:
    """The sample's own corners are exact; taken out, they are found again and written where they stood."""
    job = steps.copy_sample(tmp_path / "job")
    text = (job / "job.toml").read_text()
    typed = "corners = [[24.7, 224.1], [2842.9, 254.0], [2825.2, 539.9], [38.1, 509.1]]"
    assert typed in text
    (job / "job.toml").write_text(text.replace(typed, 'foot = "left"'))
    done = run("measure", str(job), "--write-corners")
    assert done.returncode == 0, done.stderr
    assert "corners found" in done.stderr
    written = steps.open_job(job).board("A").photos["face"][0].corners
    assert written is not None
    exact = steps.open_job(steps.find_sample()).board("A").photos["face"][0].corners
    assert exact is not None
    for (x, y), (u, v) in zip(written, exact, strict=True):
        assert abs(x - u) < 4
        assert abs(y - v) < 4


def test_any_straight_cut_inside_a_board_is_drawn(sample: Path, tmp_path: Path) -> None:
    end = run("inside", str(sample), "A", "--crosscut", "36 in", "-o", str(tmp_path / "end.png"), "--json")
    assert end.returncode == 0, end.stderr
    assert 0.3 < json.loads(end.stdout)["confidence"] < 1
    assert Image.open(tmp_path / "end.png").size == (381, 51)  # 7 1/2 by 1 in, 2 px a millimetre
    outside = run("inside", str(sample), "A", "--rip", "30 in", "-o", str(tmp_path / "edge.png"))
    assert outside.returncode == 1
    assert "board A is 7 1/2 in wide; a cut at 30 in lies outside it" in outside.stderr
    assert run("inside", str(sample), "A", "-o", str(tmp_path / "edge.png")).returncode == 2
