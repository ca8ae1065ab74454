"""After the saw: real surfaces come in, flattened once, and leaves that are of no use are known."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from grainplan import aftersaw, steps
from grainplan.aftersaw import list_lost, read_leaves
from grainplan.boards import Leaf
from tests.drawn.flat import grow_any
from tests.drawn.sawn_job import write_job

BAY = '[[bay]]\nname = "door"\nwidth = 110\nupper = 90\nlower = 150\nrail = 40\n'


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return write_job(tmp_path / "job", {"A": grow_any(7400, length_mm=340.0)}, BAY, sides=("face",))


def add(job: Path, words: str) -> None:
    with (job / "job.toml").open("a", encoding="utf-8") as file:
        file.write(words)


def report_far(job: Path) -> None:
    """A ramp for the far surface of A1, bright at the photo's lowest row."""
    board = steps.open_job(job).board("A")
    wide, high = 1200, round(1200 * board.width_mm / board.length_mm)
    ramp = np.linspace(60, 200, high, dtype=np.uint8)[:, None, None]
    Image.fromarray(np.broadcast_to(ramp, (high, wide, 3)).copy()).save(job / "photos" / "far.png")
    corners = [[0, high - 1], [wide - 1, high - 1], [wide - 1, 0], [0, 0]]
    add(job, f'\n[[leaf]]\nleaf = "A1"\nfar = {{ photo = "photos/far.png", corners = {corners} }}\n')


@pytest.mark.parametrize(
    ("thickness", "cup", "gone"), [("1/4 in", "0 in", False), ("1/4 in", "1/64 in", True), ("7/32 in", "0 in", True)]
)
def test_a_leaf_too_thin_for_its_panel_is_gone(job: Path, thickness: str, cup: str, *, gone: bool) -> None:
    add(job, f'\n[[leaf]]\nleaf = "A1"\nthickness = "{thickness}"\ncup = "{cup}"\n')
    read = steps.open_job(job)
    (leaf,) = read_leaves(read)
    assert bool(leaf.lost) == gone
    assert list_lost(read) == ({Leaf("A", 1): leaf.lost} if gone else {})
    if gone:
        assert "6.35 mm" in str(leaf.lost) or "6.4 mm" in str(leaf.lost)


def test_the_far_surface_is_photographed_like_the_back(job: Path) -> None:
    """Rolled over, so its picture is mirrored across."""
    report_far(job)
    (read,) = read_leaves(steps.open_job(job))
    shown = read.pictures["far"].pixels.mean(axis=(1, 2))
    assert shown[:40].mean() > shown[-40:].mean()  # bright at y = 0: the photo's lowest row


def test_a_photo_is_flattened_once(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    report_far(job)
    (first,) = read_leaves(steps.open_job(job))
    with monkeypatch.context() as watched:
        watched.setattr(aftersaw, "flatten_side", lambda *_: pytest.fail("it was kept"))
        (again,) = read_leaves(steps.open_job(job))
    np.testing.assert_array_equal(first.pictures["far"].pixels, again.pictures["far"].pixels)
    assert first.caveats == again.caveats


def test_another_photo_or_a_damaged_keep_is_flattened_anew(job: Path) -> None:
    report_far(job)
    (first,) = read_leaves(steps.open_job(job))
    for path in (job / aftersaw.LEAVES_FOLDER).iterdir():
        path.write_bytes(path.read_bytes()[:40])
    (mended,) = read_leaves(steps.open_job(job))
    np.testing.assert_array_equal(first.pictures["far"].pixels, mended.pictures["far"].pixels)
    with Image.open(job / "photos" / "far.png") as photo:
        photo.transpose(Image.Transpose.FLIP_TOP_BOTTOM).save(job / "photos" / "far.png")
    (other,) = read_leaves(steps.open_job(job))
    assert other.pictures["far"].pixels[:40].mean() < first.pictures["far"].pixels[:40].mean()
    kept = [path for path in (job / aftersaw.LEAVES_FOLDER).iterdir() if path.suffix == ".png"]
    assert len(kept) == 1  # what belongs to no photo any more is swept away
