"""Seam comparisons are kept on the disk, found again as they were, and never mistaken for others."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from grainplan.errors import NotFound
from grainplan.match import shelf
from grainplan.match.bands import cut_edge, even_surface
from grainplan.match.edges import EdgeRun, EdgeScore, EdgeSearch, Strangers, compare_edges, measure_strangers
from grainplan.match.ends import EndRuns, Ends, compare_ends, draw_lines
from grainplan.match.rails import RailCut, score_run_on
from grainplan.picture import Picture

SEARCH = EdgeSearch(across_mm=9.0, grain_deg=1.5)
ENDS = Ends(40.0, grain_deg=1.5, hidden_mm=40.0)


def draw_surface(lean: float) -> Picture:
    """Ring lines of a formula, at 1 px/mm: they lean, and wander sideways by `lean` mm."""
    y, x = np.mgrid[0:120, 0:300].astype(float)
    lines = np.sin((y + lean + 0.026 * x) / 2.1) + 0.5 * np.sin((y + 0.6 * lean) / 5.3 + np.cos(x / 60.0))
    grey = 150.0 + 22.0 * lines
    return Picture(np.stack([grey, grey - 25.0, grey - 60.0], axis=-1).astype(np.uint8), 1.0)


@pytest.fixture(scope="module")
def compared() -> list[object]:
    """One of everything that is kept."""
    first, second = (even_surface(draw_surface(lean), px_per_mm=1.0) for lean in (0.0, 3.0))
    bands = [cut_edge(surface, 30.0, toward=1) for surface in (first, second)]
    cut = RailCut(120.0, 160.0, 40.0, grain_deg=1.5)
    lines = [draw_lines(surface, 1.5) for surface in (first, second)]
    return [
        compare_edges(*bands, SEARCH),
        measure_strangers(bands, bands, SEARCH),
        compare_ends(*lines, ENDS, px_per_mm=1.0),
        score_run_on(first, first, cut, y_mm=(20.0, 100.0)),
        NotFound("nobody has seen it"),
        None,
    ]


def refuse() -> None:
    pytest.fail("it was kept")


def put(path: Path, values: list[object], *, said: str = "compared") -> None:
    mine = shelf.Shelf(path)
    for place, value in enumerate(values):
        mine.take(said, place, SEARCH, make=lambda value=value: value)
    mine.save()


def test_a_comparison_is_found_again_as_it_was(compared: list[object], tmp_path: Path) -> None:
    """To the last bit: so that a plan is the same by whom it is made."""
    put(tmp_path / "seams" / "1.bin", compared)
    again = shelf.Shelf(tmp_path / "seams" / "1.bin")
    found = [again.take("compared", place, SEARCH, make=refuse) for place in range(len(compared))]
    run, was = found[0], compared[0]
    assert isinstance(run, EdgeRun)
    assert isinstance(was, EdgeRun)
    assert run.search == SEARCH
    for name in ("x_mm", "fit", "texture", "across_mm", "along_mm", "first_lab", "second_lab", "known_move_mm"):
        np.testing.assert_array_equal(getattr(run, name), getattr(was, name))
    ends, were = found[2], compared[2]
    assert isinstance(ends, EndRuns)
    assert isinstance(were, EndRuns)
    assert ends.ends == ENDS
    np.testing.assert_array_equal(ends.fit, were.fit)
    assert found[1] == compared[1]
    assert found[3] == compared[3]
    assert isinstance(found[4], NotFound)
    assert found[4] == compared[4]
    assert found[5] is None


@pytest.mark.parametrize(
    "other",
    [("compared", 0, EdgeSearch(across_mm=9.0)), ("compared", 1, SEARCH), ("something else", 0, SEARCH)],
)
def test_whatever_differs_is_compared_anew(compared: list[object], tmp_path: Path, other: tuple[object, ...]) -> None:
    put(tmp_path / "1.bin", compared[:1])
    assert shelf.Shelf(tmp_path / "1.bin").take(*other, make=lambda: "made") == "made"


def test_what_an_older_program_kept_counts_for_nothing(
    compared: list[object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path / "1.bin", compared)
    monkeypatch.setattr(shelf, "_FORM", "another form")
    assert shelf.Shelf(tmp_path / "1.bin").take("compared", 0, SEARCH, make=lambda: "made") == "made"


@pytest.mark.parametrize(
    "spoil", [lambda c: c[:-9], lambda c: c[:40], lambda c: b"", lambda c: c.replace(b"EdgeRun", b"")]
)
def test_a_damaged_file_counts_as_empty(compared: list[object], tmp_path: Path, spoil) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "1.bin"
    put(path, compared)
    path.write_bytes(spoil(path.read_bytes()))
    assert shelf.Shelf(path).take("compared", 0, SEARCH, make=lambda: "made") == "made"


def test_what_cannot_be_understood_is_compared_anew_and_kept_so(
    compared: list[object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "1.bin"
    put(path, compared[:1])
    again = shelf.Shelf(path)
    with monkeypatch.context() as patch:
        patch.setattr(shelf, "_KINDS", {})
        assert again.take("compared", 0, SEARCH, make=lambda: "made") == "made"
    assert again.take("compared", 0, SEARCH, make=refuse) == "made"
    again.save()
    assert shelf.Shelf(path).take("compared", 0, SEARCH, make=refuse) == "made"


def test_the_file_stays_within_bounds(compared: list[object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was not asked for the longest goes first."""
    path, one = tmp_path / "1.bin", compared[:1]
    put(path, one, said="first")
    size = path.stat().st_size
    monkeypatch.setattr(shelf, "MOST_BYTES", 2 * size)
    for said in ("second", "third", "fourth"):
        put(path, one, said=said)
        assert path.stat().st_size < 3 * size
    last = shelf.Shelf(path)
    last.take("fourth", 0, SEARCH, make=refuse)
    assert last.take("first", 0, SEARCH, make=lambda: "made") == "made"


def test_nothing_new_nothing_written(compared: list[object], tmp_path: Path) -> None:
    path = tmp_path / "1.bin"
    put(path, compared)
    before = path.stat().st_mtime_ns
    put(path, compared)
    assert path.stat().st_mtime_ns == before
    nowhere = shelf.Shelf(None)
    assert nowhere.take("compared", make=lambda: "made") == "made"
    nowhere.save()


def test_the_form_goes_with_the_score(compared: list[object]) -> None:
    """Where these figures change, the score has changed: raise `shelf.SCORE_FORM`, then write the new figures here.

    Else a job that was planned before goes on with what the older score gave.
    """
    run, strangers, ends, score = compared[:4]
    assert isinstance(run, EdgeRun)
    assert isinstance(strangers, Strangers)
    assert isinstance(ends, EndRuns)
    assert isinstance(score, EdgeScore)
    found = (run.fit.mean(), run.step_mm.mean(), strangers.level, ends.fit.mean(), score.fit, score.step_mm)
    assert shelf.SCORE_FORM == 2
    assert found == pytest.approx(FIGURES, abs=2e-3)


FIGURES = (0.9946, 2.9768, 0.9947, 0.4314, 0.8527, 2.8282)
