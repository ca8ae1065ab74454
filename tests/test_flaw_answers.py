"""Every kind of flaw is accepted, moved and dropped, in the app and by file, and each says what it does to the plan."""

from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest

from grainplan import changes, says, steps
from grainplan.boards import Flaw, FlawKind
from grainplan.choice import size_bay
from grainplan.errors import NotFound
from grainplan.geometry import Box
from grainplan.job import Job
from grainplan.match.cuts import lay_out_bay
from grainplan.match.flawmap import Showing, price_flaws
from grainplan.wood.kinds import guess_kind, name_kind, tell_use
from tests.small_job import make_small_job

KINDS: tuple[FlawKind, ...] = get_args(FlawKind)
PLACE = Box(200.0, 40.0, 320.0, 60.0)


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return steps.open_job(make_small_job(tmp_path / "cupboard"))


def list_left(job: Job, flaw: Flaw) -> int:
    """How many of one proposal on board C are still open, as the job file now stands."""
    return len(steps.open_job(job.folder).board("C").list_open((flaw,)))


@pytest.mark.parametrize("kind", KINDS)
def test_accepted_moved_and_dropped(job: Job, kind: FlawKind) -> None:
    flaw = Flaw(kind, "face", PLACE, False, "program", 0.6)
    before = (job.folder / "job.toml").read_bytes()
    count = len(job.board("C").flaws)
    accepted = changes.accept_flaw(job, "C", flaw, box=flaw.box)
    own = accepted.board("C").flaws[-1]
    assert (own.kind, own.found_by, own.avoid, own.confidence) == (kind, "maker", True, 1.0)
    assert own.box.contains(PLACE)
    assert list_left(job, flaw) == 0
    moved = changes.accept_flaw(changes.remove_flaw(accepted, "C", count), "C", flaw, box=Box(600.0, 40.0, 700.0, 60.0))
    assert moved.board("C").flaws[-1].box.x0 == pytest.approx(600.0, abs=1.6)
    assert list_left(job, flaw) == 0
    dropped = changes.call_clear(changes.forget_clear(changes.remove_flaw(moved, "C", count), "C", "face"), "C", flaw)
    assert [spot.kind for spot in dropped.board("C").clear] == [kind]
    assert list_left(job, flaw) == 0
    assert list_left(job, replace(flaw, on="back")) == 1
    changes.forget_clear(dropped, "C", "face")
    assert list_left(job, flaw) == 1
    assert (job.folder / "job.toml").read_bytes() == before


@pytest.mark.parametrize("kind", KINDS)
def test_by_file(job: Job, kind: FlawKind) -> None:
    """A flaw or a clear spot typed at the end of the last board's table."""
    flaw = Flaw(kind, "face", PLACE, False, "program", 0.6)
    path = job.folder / "job.toml"
    before = path.read_text(encoding="utf-8")
    last = job.boards[-1].name
    corners = 'from = ["200 mm", "40 mm"]\nto = ["320 mm", "60 mm"]\n'
    for table in ("flaw", "clear"):
        path.write_text(f'{before}\n[[board.{table}]]\nkind = "{kind}"\non = "face"\n{corners}', encoding="utf-8")
        board = steps.open_job(job.folder).board(last)
        assert board.list_open((flaw,)) == ()
    assert board.clear[-1].kind == kind


def test_each_kind_says_what_it_does_to_the_plan(job: Job) -> None:
    told = set()
    for kind in KINDS:
        mine, proposed = Flaw(kind, "face", PLACE), Flaw(kind, "face", PLACE, False, "program", 0.3)
        told.add(tell_use(mine).removeprefix("Kept out of sight: no panel may show it. "))
        assert tell_use(mine).startswith("Kept out of sight")
        assert tell_use(replace(mine, avoid=False)).startswith("It may show, at a cost")
        assert tell_use(proposed).startswith("Only looked at: no place is ruled out")
        assert guess_kind(proposed) == f"a hint of {name_kind(kind)}"
        assert says.tell_flaw(job, replace(proposed, confidence=0.7)).startswith(
            f"Perhaps {name_kind(kind)} on the face"
        )
    assert len(told) == len(KINDS)


def test_what_the_words_promise_is_what_the_plan_does(job: Job) -> None:
    """Of 120 mm the bay shows 100: no place where it is kept out; else its square inches, as sure as it is."""
    bay = job.bays[0]
    cut = lay_out_bay(bay, size_bay(job, bay), job.panel, job.shop)
    assert not isinstance(cut, NotFound)
    low, high = cut.pieces[0].sight_mm
    assert high - low > 100
    shown = [Showing(0, ("near",), (0.0, 50.0))]
    mine = Flaw("sapwood", "face", PLACE)
    whole = 100 * 10 / 25.4**2
    for flaw, price in (
        (mine, np.inf),
        (replace(mine, avoid=False), whole),
        (replace(mine, avoid=False, found_by="program", confidence=0.5), 0.5 * whole),
        (replace(mine, on="back"), 0.0),
    ):
        start = np.array([PLACE.x0 + 20.0 - low])
        found = price_flaws((flaw,), shown, start, lie=(replace(cut, pieces=cut.pieces[:1]), "down"), leaves=2)
        assert found[0] == pytest.approx(price)
