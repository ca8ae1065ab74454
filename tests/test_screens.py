"""The app without a browser: what is typed reaches the job file or is told; all numbers are those of the steps."""

from __future__ import annotations

import io
import json
import re
import shutil
import sys
import tomllib
import zipfile
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from grainplan import changes, looks, says, steps
from grainplan.boards import Flaw, MeasuredBoard
from grainplan.choice import resaw_boards
from grainplan.errors import GrainplanError, JobFileError, PhotoError
from grainplan.geometry import Box
from grainplan.jobfolder import mending
from grainplan.picture import Picture
from grainplan.screens.corners import guess_corners
from grainplan.screens.work import Work
from grainplan.units import format_length
from tests.small_job import make_small_job

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small job, taken all the way once."""
    folder = make_small_job(tmp_path_factory.mktemp("planned") / "cupboard")
    steps.run_all(folder)
    return folder


@pytest.fixture
def folder(planned: Path, tmp_path: Path) -> Path:
    return shutil.copytree(planned, tmp_path / "cupboard")


def start(monkeypatch: pytest.MonkeyPatch, *named: Path) -> AppTest:
    monkeypatch.setattr(sys, "argv", ["app.py", *map(str, named)])
    return AppTest.from_file(str(ROOT / "app.py"), default_timeout=90).run()


def go_to(app: AppTest, place: str) -> AppTest:
    app.session_state["places"] = place
    return app.run()


def field(app: AppTest, label: str):
    return next(f for f in app.text_input if f.label == label)


def button(app: AppTest, key: str):
    return app.button(key=key)


def words_on(app: AppTest) -> str:
    kinds = ("markdown", "caption", "html", "error", "warning", "subheader")
    return "\n".join(str(getattr(e, "value", "") or getattr(e.proto, "body", "")) for k in kinds for e in app.get(k))


def read(folder: Path) -> dict:
    return tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))


def wait_for_work(app: AppTest) -> AppTest:
    for _ in range(4):
        work = app.session_state["open_desk"].work
        if work is None:
            return app
        assert work.wait(120)
        app.run()
    raise AssertionError("the work did not end")


def test_the_sample_is_opened_on_a_copy(monkeypatch, tmp_path) -> None:
    app = start(monkeypatch)
    field(app, "Copy it to").set_value(str(tmp_path / "mine")).run()
    button(app, "open_sample").click().run()
    assert not app.exception
    assert (tmp_path / "mine" / "job.toml").read_bytes() == (steps.find_sample() / "job.toml").read_bytes()
    assert all(f"take:{name}" in {b.key for b in app.button} for name in "ABCDEF")


def test_what_was_made_is_deleted_while_the_page_is_open(monkeypatch, folder) -> None:
    """`out/` is safe to delete: that its pictures are gone is told, and the leaves can be chosen again."""
    app = start(monkeypatch, folder)
    for back in (folder / "out" / "boards").glob("*-back.png"):
        back.unlink()
    go_to(app, "Choice")
    assert not app.exception
    assert "is missing or damaged" in app.error[0].value
    app.run()
    assert not app.exception
    assert not app.error
    assert "choose" in {b.key for b in app.button}


def test_a_folder_without_a_job_is_told(monkeypatch, tmp_path) -> None:
    app = start(monkeypatch)
    field(app, "Job folder").set_value(str(tmp_path / "nowhere")).run()
    button(app, "open_job").click().run()
    assert "is not there" in app.error[0].value
    assert not app.exception


def test_a_new_job_is_started_and_open(monkeypatch, tmp_path) -> None:
    app = start(monkeypatch)
    field(app, "Job folder").set_value(str(tmp_path / "bookcase")).run()
    button(app, "start_job").click().run()
    assert not app.exception
    assert (tmp_path / "bookcase" / "job.toml").is_file()
    assert "Bookcase" in words_on(app)


def test_a_number_of_the_shop_answers_at_once_and_keeps_the_comments(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Shop")
    before = (folder / "job.toml").read_text(encoding="utf-8")
    told = says.tell_resaw(steps.open_job(folder), "A")[0]
    assert told in words_on(app)
    field(app, "Kerf of the resaw blade").set_value("3/32 in").run()
    after = (folder / "job.toml").read_text(encoding="utf-8")
    assert after == before.replace('kerf = "1/16 in"', 'kerf = "3/32 in"', 1)
    job = steps.open_job(folder)
    resaw = resaw_boards(job)["A"]
    assert f"mates {format_length(resaw.mate_gap_mm, 'in')} apart" in words_on(app)
    assert told not in words_on(app)


@pytest.mark.parametrize(
    ("typed", "says"), [("4/4", "quarter name|sold by"), ("thick", "not a length"), ("-1 in", "0 or more")]
)
def test_a_wrong_number_is_told_and_the_file_stays(monkeypatch, folder, typed, says) -> None:
    app = go_to(start(monkeypatch, folder), "Shop")
    before = (folder / "job.toml").read_bytes()
    field(app, "Kerf of the resaw blade").set_value(typed).run()
    assert re.search(says, words_on(app))
    assert (folder / "job.toml").read_bytes() == before
    field(app, "Kerf of the resaw blade").set_value("1/16 in").run()
    assert not re.search(says, words_on(app))
    assert not app.exception


def test_what_the_screens_say_is_what_the_steps_say(monkeypatch, folder) -> None:
    """The leaves of every bay on the page are those of plan.json, the sums those of the resaw arithmetic."""
    job = steps.open_job(folder)
    app = go_to(start(monkeypatch, folder), "Choice")
    page = words_on(app)
    plan = steps.reach_plan(folder).plan
    for bay in plan.bays:
        assert bay.why in page
        for panel in bay.panels.values():
            assert " · ".join(f"{s.leaf.name} {s.surface}" for s in panel.strips) in page
            assert f"{format_length(panel.strips[0].x_mm[0], 'in')} to " in page
    app = go_to(app, "Shop")
    for name, resaw in resaw_boards(job).items():
        assert f"**{name}** — {resaw.leaves} lea" in words_on(app)


def test_keep_and_let_go(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Choice")
    before = (folder / "job.toml").read_text(encoding="utf-8")
    leaves = steps.reach_plan(folder).plan.bays[0]
    wait_for_work(button(app, f"keep:{leaves.name}").click().run())
    assert not app.exception
    kept = read(folder)["keep"]
    lower = leaves.panels["lower"]
    assert kept[0]["bay"] == leaves.name
    assert kept[0]["leaves"] == [s.leaf.name for s in lower.strips]
    again = {bay.name: bay for bay in steps.reach_plan(folder).plan.bays}[leaves.name]
    assert [s.leaf for s in again.panels["lower"].strips] == [s.leaf for s in lower.strips]
    assert again.panels["lower"].strips[0].x_mm == pytest.approx(lower.strips[0].x_mm, abs=0.5)
    wait_for_work(button(app, f"let_go:{leaves.name}").click().run())
    assert "keep" not in read(folder)
    assert (folder / "job.toml").read_text(encoding="utf-8").strip() == before.strip()


def test_leave_out_and_allow_again(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Choice")
    bay = steps.reach_plan(folder).plan.bays[0]
    board = bay.panels["lower"].strips[0].leaf.board
    wait_for_work(button(app, f"leave:{bay.name}:{board}").click().run())
    assert read(folder)["leave_out"] == [{"board": board, "bay": bay.name}]
    now = {b.name: b for b in app.session_state["open_desk"].outcome.plan.bays}
    assert all(s.leaf.board != board for s in now[bay.name].panels["lower"].strips)
    wait_for_work(button(app, f"allow:{bay.name}:{board}").click().run())
    assert "leave_out" not in read(folder)
    assert not app.exception


def test_a_changed_job_asks_for_a_new_choice(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Shop")
    field(app, "Kerf of the resaw blade").set_value("3/32 in").run()
    app = go_to(app, "Choice")
    assert "has changed since" in words_on(app)
    wait_for_work(button(app, "choose").click().run())
    assert "has changed since" not in words_on(app)
    assert steps.reach_plan(folder).plan.job_sha256 == steps.open_job(folder).sha256


def break_file(folder: Path, *, old: str = 'kerf = "1/16 in"', new: str = 'kref = "1/16 in"') -> tuple[str, int]:
    """Spoil one line of the job file; answers with the file as it was and with that line's number."""
    good = (folder / "job.toml").read_text(encoding="utf-8")
    (folder / "job.toml").write_text(good.replace(old, new, 1), encoding="utf-8")
    return good, good[: good.index(old)].count("\n") + 1


def test_a_job_file_with_faults_is_told_with_the_line_until_it_is_mended(monkeypatch, folder) -> None:
    good, line = break_file(folder)
    app = start(monkeypatch, folder)
    assert "kref" in words_on(app)
    assert f"line {line}" in words_on(app)
    assert not app.exception
    (folder / "job.toml").write_text(good, encoding="utf-8")
    app.run()
    assert "kref" not in words_on(app)


@pytest.mark.parametrize(("new", "says"), [('kerf = "1 in in"', "Kerf|kerf"), ("kerf = 1/16 in", "quotes")])
def test_a_fault_is_mended_on_its_line(monkeypatch, folder, new, says) -> None:
    good, line = break_file(folder, new=new)
    app = start(monkeypatch, folder)
    assert re.search(says, words_on(app))
    wrong = field(app, f"Line {line}")
    assert wrong.value.startswith(new)
    wrong.set_value(wrong.value.replace(new, 'kerf = "1/16 in"')).run()
    assert (folder / "job.toml").read_text(encoding="utf-8") == good
    assert app.session_state["open_desk"].job is not None
    assert not app.exception


def test_a_faulty_file_is_saved_as_typed_and_the_good_one_is_never_lost(monkeypatch, folder) -> None:
    start(monkeypatch, folder)  # opened once while it was good
    good, _ = break_file(folder)
    app = start(monkeypatch, folder)
    typed = good.replace('kerf = "1/16 in"', 'kerf = "wide"') + "# my own remark\n"
    app.text_area[0].set_value(typed).run()
    button(app, "save_whole").click().run()
    assert (folder / "job.toml").read_text(encoding="utf-8") == typed
    assert "wide" in words_on(app)
    button(app, "go_back").click().run()
    assert (folder / "job.toml").read_text(encoding="utf-8") == good
    assert (folder / "job-set-aside.toml").read_text(encoding="utf-8") == typed
    assert "take:A" in {b.key for b in app.button}
    assert not app.exception


def test_a_file_changed_elsewhere_meanwhile_is_not_overwritten(folder) -> None:
    break_file(folder)
    before = mending.read_file(folder)
    break_file(folder, old="A hall cupboard", new="My hall cupboard")
    with pytest.raises(GrainplanError, match="changed by somebody else"):
        mending.save_file(folder, "title = 1", before=before)
    assert "My hall cupboard" in mending.read_file(folder).text


def test_a_file_in_another_code_is_shown_and_saved_with_its_line_ends(folder) -> None:
    path = folder / "job.toml"
    words = path.read_text(encoding="utf-8").replace("meter, middle", "20 \N{DEGREE SIGN}C, meter, middle")
    path.write_bytes(words.replace("\n", "\r\n").encode("cp1252"))
    with pytest.raises(JobFileError) as error:
        steps.open_job(folder)
    line = words[: words.index("\N{DEGREE SIGN}")].count("\n") + 1
    assert mending.find_fault_lines(folder, error.value) == (line,)
    file = mending.read_file(folder)
    assert file.text == words
    assert "UTF-8" in file.remark
    mending.save_file(folder, file.text, before=file)
    assert path.read_bytes() == words.replace("\n", "\r\n").encode()
    assert steps.open_job(folder)


def bench(app: AppTest, board: str) -> AppTest:
    return button(app, f"take:{board}").click().run()


def find_corners_key(app: AppTest) -> str:
    return next(k for k in app.session_state._state.filtered_state if str(k).startswith("corners:"))


def test_corners_moved_on_the_picture_are_written_down(monkeypatch, folder) -> None:
    app = bench(start(monkeypatch, folder), "A")
    key = find_corners_key(app)
    moved = [[30.0, 226.3], [2842.9, 254.0], [2825.2, 539.9], [38.1, 509.1]]
    app.session_state[key] = {"points": moved}
    app.run()
    assert "not written down yet" in words_on(app)
    assert read(folder)["board"][0]["face"]["corners"][0] == [24.7, 224.1]
    button(app, "write:A:face").click().run()
    assert read(folder)["board"][0]["face"]["corners"] == moved
    assert "not written down yet" not in words_on(app)
    assert not app.exception


def test_corners_that_turn_the_wrong_way_are_told_before_they_are_written(monkeypatch, folder) -> None:
    app = bench(start(monkeypatch, folder), "A")
    before = (folder / "job.toml").read_bytes()
    turned = [[2842.9, 254.0], [24.7, 224.1], [38.1, 509.1], [2825.2, 539.9]]
    app.session_state[find_corners_key(app)] = {"points": turned}
    app.run()
    assert "clockwise" in words_on(app)
    assert (folder / "job.toml").read_bytes() == before
    button(app, "back:A:face").click().run()
    assert "clockwise" not in words_on(app)
    assert not app.exception


def test_another_board_with_its_photo(monkeypatch, folder) -> None:
    app = start(monkeypatch, folder)
    for label, typed in (("Length", "70 in"), ("Width", "7 in"), ("Thickness", "1 in")):
        field(app, label).set_value(typed)
    next(b for b in app.button if b.label == "Put it in the rack").click().run()
    assert read(folder)["board"][-1] == {"name": "E", "length": "70 in", "width": "7 in", "thickness": "1 in"}
    photo = (folder / "photos" / "a-face.jpg").read_bytes()
    app.file_uploader[0].upload("IMG_1.jpg", photo, "image/jpeg").run()
    button(app, "take_photo:E:face").click().run()
    assert read(folder)["board"][-1]["face"] == {"photo": "photos/e-face-2.jpg"}
    assert (folder / "photos" / "e-face-2.jpg").read_bytes() == photo
    assert "Not written into the job yet" in words_on(app)
    assert not app.exception


def test_a_board_with_a_wrong_size_is_told(monkeypatch, folder) -> None:
    app = start(monkeypatch, folder)
    before = (folder / "job.toml").read_bytes()
    for label, typed in (("Length", "70 in"), ("Width", "7 in"), ("Thickness", "4/4")):
        field(app, label).set_value(typed)
    next(b for b in app.button if b.label == "Put it in the rack").click().run()
    assert "sold by" in words_on(app)
    assert (folder / "job.toml").read_bytes() == before


def test_a_photo_that_is_no_picture_leaves_nothing_behind(folder) -> None:
    job = steps.open_job(folder)
    before = sorted(p.name for p in (folder / "photos").iterdir())
    with pytest.raises(PhotoError, match="the photo of the back"):
        changes.add_photo(job, "A", "back", content=b"not a picture at all")
    assert sorted(p.name for p in (folder / "photos").iterdir()) == before


def test_a_second_photo_of_a_side_never_overwrites_the_first(folder) -> None:
    job = steps.open_job(folder)
    first = (folder / "photos" / "a-face.jpg").read_bytes()
    changed = changes.add_photo(job, "A", "face", content=(folder / "photos" / "b-face.jpg").read_bytes())
    assert (folder / "photos" / "a-face.jpg").read_bytes() == first
    assert changed.board("A").photos["face"][0].path.name == "a-face-2.jpg"


def test_bays_are_added_changed_and_taken_out(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Piece")
    button(app, "another_bay").click().run()
    assert [bay["name"] for bay in read(folder)["bay"]][-2:] == ["right side", "right side 2"]
    button(app, "remove_bay:4").click().run()
    assert len(read(folder)["bay"]) == 4
    widths = [f for f in app.text_input if f.label == "Width"]
    widths[0].set_value("13 in").run()
    assert read(folder)["bay"][0]["width"] == "13 in"
    assert not app.exception


def test_downloads_and_cautions(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "To the saw")
    labels = {d.label for d in app.get("download_button")}
    assert {"Shop sheets", "Labels", "Picture of the front", "Everything in one file"} <= labels
    assert "Push block" in words_on(app)
    with zipfile.ZipFile(io.BytesIO(looks.pack_results(folder))) as pack:
        names = set(pack.namelist())
    assert {"front.png", "back.png", "bays/left door.png", "sheets.pdf", "plan.json"} <= names
    assert not [name for name in names if name.startswith("boards/")]


@pytest.mark.parametrize("side", ["face", "back", "foot", "head"])
def test_the_corners_that_are_offered_turn_the_right_way(side) -> None:
    """A board without corners gets some that the flattening accepts, on each of its four sides."""
    job = steps.open_job(steps.find_sample())
    board = job.board("A")
    path = board.photos[side][0].path
    shown = looks.show_photo(path)
    assert looks.square_on(board, side, path, corners=guess_corners(shown.size_px, side))


def test_a_photo_is_shown_upright_and_corners_count_in_its_own_pixels(tmp_path) -> None:
    path = tmp_path / "turned.jpg"
    exif = Image.Exif()
    exif[0x0112] = 6  # a quarter turn (CIPA DC-008)
    pixels = np.random.default_rng(1).integers(0, 255, (900, 2400, 3), dtype=np.uint8)
    Image.fromarray(pixels).save(path, exif=exif)
    shown = looks.show_photo(path)
    assert shown.size_px == (900, 2400)
    with Image.open(io.BytesIO(shown.jpeg)) as image:
        assert image.size == (675, 1800)


def test_work_tells_what_went_wrong() -> None:
    def fail(_hand_over, _progress, _should_stop):
        raise GrainplanError("the saw is blunt")

    work = Work()
    work.begin(fail)
    assert work.wait(5)
    assert work.fault == "the saw is blunt"


def test_work_can_be_stopped_with_its_best_so_far() -> None:
    def step(hand_over, progress, should_stop):
        progress(0.5, "half way")
        hand_over("first")
        while not should_stop():
            pass
        hand_over("best so far")

    work = Work()
    work.begin(step)
    work.ask_to_stop()
    assert work.wait(5)
    assert (work.result, work.share, work.doing, work.fault) == ("best so far", 0.5, "half way", "")


def test_the_app_is_bound_to_this_machine_and_tells_nobody(monkeypatch) -> None:
    config = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert config["server"]["address"] == "localhost"
    assert config["browser"]["gatherUsageStats"] is False
    called: list[list[str]] = []
    monkeypatch.setattr(steps.subprocess, "call", lambda command, **_: called.append(command) or 0)
    steps.start_app(Path("job"), port=8600)
    assert "--server.address=localhost" in called[0]
    assert "--browser.gatherUsageStats=false" in called[0]
    assert called[0][-2:] == ["--", "job"]


def test_a_board_without_a_broad_side_is_no_row_of_the_rack(folder) -> None:
    measured = next(iter(looks.find_measured(steps.open_job(folder)).values()))
    bare = MeasuredBoard(measured.board, measured.length_mm, measured.width_mm)
    with pytest.raises(ValueError, match="no measured broad side"):
        looks.draw_face(bare)


def do_on_board(app: AppTest, side: str, **what) -> AppTest:
    """As if it had been done on the picture of board C by mouse, finger or keyboard."""
    stamp = app.session_state["stamp"] + 1 if "stamp" in app.session_state else 1
    app.session_state["stamp"] = stamp
    app.session_state[f"marks:C:{side}"] = {"last": {**what, "stamp": stamp}}
    return app.run()


def flaws_of_c(folder: Path) -> list[dict]:
    return read(folder)["board"][2].get("flaw", [])


def lay_out_flaws(monkeypatch, folder: Path) -> AppTest:
    app = start(monkeypatch, folder)
    app.session_state["bench_view"] = "Flaws"
    return bench(app, "C")


def test_flaws_are_drawn_moved_said_and_taken_off(monkeypatch, folder) -> None:
    app = lay_out_flaws(monkeypatch, folder)
    before = (folder / "job.toml").read_text(encoding="utf-8")
    do_on_board(app, "face", do="draw", box=[101.0, 50.0, 127.0, 76.5])
    drawn = flaws_of_c(folder)[1]  # rounded outward to whole sixteenths
    assert drawn == {
        "kind": "knot",
        "on": "through",
        "from": ["3 15/16 in", "1 15/16 in"],
        "to": ["5 in", "3 1/16 in"],
        "avoid": True,
    }
    next(s for s in app.selectbox if s.label == "What").select("check").run()
    next(t for t in app.toggle if t.label == "No panel may show it").set_value(False).run()
    assert (flaws_of_c(folder)[1]["kind"], flaws_of_c(folder)[1]["avoid"]) == ("check", False)
    do_on_board(app, "face", do="move", id="m0", box=[25.4, 25.4, 50.8, 50.8])
    moved = flaws_of_c(folder)[0]
    assert (moved["from"], moved["to"]) == (["1 in", "1 in"], ["2 in", "2 in"])
    assert "# it shows on both sides" in (folder / "job.toml").read_text(encoding="utf-8")
    app.run()  # what was done once is not done again
    assert len(flaws_of_c(folder)) == 2
    do_on_board(app, "face", do="drop", id="m1")
    do_on_board(app, "face", do="move", id="m0", box=[40.75 * 25.4, 2.75 * 25.4, 42.25 * 25.4, 4.5 * 25.4])
    assert (folder / "job.toml").read_text(encoding="utf-8") == before
    assert not app.exception


def propose(folder: Path, flaw: Flaw) -> None:
    """Let `out/boards.json` hold one flaw that the program has found on board C."""
    path = folder / "out" / "boards.json"
    table = json.loads(path.read_text(encoding="utf-8"))
    row = next(row for row in table["boards"] if row["name"] == "C")
    box = flaw.box
    found = {"kind": flaw.kind, "on": flaw.on, "from_mm": [box.x0, box.y0], "to_mm": [box.x1, box.y1]}
    row["flaws"] = [{**found, "found_by": "program", "confidence": 0.86, "avoid": False}]
    path.write_text(json.dumps(table), encoding="utf-8")


def test_a_proposal_is_accepted_moved_or_dropped_and_never_overwrites_the_makers_own(monkeypatch, folder) -> None:
    propose(folder, Flaw("knot", "face", Box(200.0, 40.0, 220.0, 60.0), found_by="program"))
    before = (folder / "job.toml").read_bytes()
    mine = flaws_of_c(folder)
    app = do_on_board(lay_out_flaws(monkeypatch, folder), "face", do="pick", id="p0")
    assert "Perhaps a knot on the face, 86% sure" in words_on(app)
    assert (folder / "job.toml").read_bytes() == before
    button(app, "clear:C").click().run()
    assert "Perhaps a knot" not in words_on(app)
    assert flaws_of_c(folder) == mine
    assert read(folder)["board"][2]["clear"][0]["on"] == "face"
    assert not [f for f in steps.measure(steps.open_job(folder))[2].flaws if f.found_by == "program"]
    button(app, "unclear:C:face").click().run()
    assert (folder / "job.toml").read_bytes() == before
    do_on_board(app, "face", do="move", id="p0", box=[400.0, 40.0, 420.0, 60.0])
    accepted = flaws_of_c(folder)
    assert accepted[0] == mine[0]
    assert (accepted[1]["kind"], accepted[1]["on"], accepted[1]["avoid"]) == ("knot", "face", True)
    assert not says.list_proposed(looks.find_measured(steps.open_job(folder))["C"].flaws)
    assert not app.exception


def test_sapwood_is_taken_over_for_every_leaf_with_what_the_other_side_shows(monkeypatch, folder) -> None:
    propose(folder, Flaw("sapwood", "face", Box(0.0, 150.0, 1800.0, 196.0), found_by="program"))
    path = folder / "out" / "boards.json"
    table = json.loads(path.read_text(encoding="utf-8"))
    rows = next(row for row in table["boards"] if row["name"] == "C")["flaws"]
    rows.append({**rows[0], "on": "back", "from_mm": [0.0, 170.0]})
    path.write_text(json.dumps(table), encoding="utf-8")
    app = do_on_board(lay_out_flaws(monkeypatch, folder), "face", do="pick", id="p0")
    assert "Perhaps sapwood on the face, 86% sure" in words_on(app)
    assert "no place is ruled out by it" in words_on(app)
    assert "Sapwood is sound and only of another colour" in words_on(app)
    button(app, "through:C").click().run()
    told = flaws_of_c(folder)[1]
    assert (told["kind"], told["on"], told["avoid"]) == ("sapwood", "through", True)
    assert told["from"] == ["0 in", "5 7/8 in"]
    assert "Kept out of sight: no panel may show it" in words_on(app)
    assert not says.list_proposed(looks.find_measured(steps.open_job(folder))["C"].flaws)
    assert not app.exception


def test_a_flaw_is_outlined_where_it_shows(folder) -> None:
    """A knot 100 to 140 mm along and 30 to 60 mm across, on the face only: red at its outline, on that side alone."""
    board = steps.open_job(folder).board("A")
    knot = replace(board, flaws=(Flaw("knot", "face", Box(100.0, 30.0, 140.0, 60.0)),))
    plain = Picture(np.full((190, 1854, 3), 200, np.uint8), 1.0)
    marked = looks.mark_flaws(plain, knot, "face")
    assert tuple(marked[30, 120]) == (164, 66, 47)
    assert tuple(marked[45, 140]) == (164, 66, 47)
    assert tuple(marked[45, 120]) == (200, 200, 200)
    assert np.array_equal(looks.mark_flaws(plain, knot, "back"), plain.pixels)


def test_one_panel_or_two(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Piece")
    button(app, "divide:2").click().run()
    side = read(folder)["bay"][2]
    assert side["panel"] == "45 1/2 in"  # 28 1/2 + 2 1/4 + 14 3/4
    assert not {"lower", "rail", "upper"} & set(side)
    button(app, "divide:2").click().run()
    bay = steps.open_job(folder).bays[2]
    assert bay.lower_mm + bay.rail_mm + bay.upper_mm == pytest.approx(45.5 * 25.4)
    assert not app.exception


def test_a_bay_that_is_renamed_is_renamed_wherever_the_file_speaks_of_it(monkeypatch, folder) -> None:
    job = changes.write_values(steps.open_job(folder), {("bay", 0, "mirror"): "right door"})
    changes.leave_out(job, board="D", bay="right door")
    app = go_to(start(monkeypatch, folder), "Piece")
    [f for f in app.text_input if f.label == "Name"][1].set_value("door at the right").run()
    now = read(folder)
    assert now["bay"][1]["name"] == now["bay"][0]["mirror"] == now["leave_out"][0]["bay"] == "door at the right"
    assert not app.exception


def test_a_wood_of_the_makers_own_by_its_two_shrinkages(monkeypatch, folder) -> None:
    """Those of white ash in the Wood Handbook, table 4-3: 4.9 and 7.8 per cent."""
    app = go_to(start(monkeypatch, folder), "Piece")
    field(app, "Radial %").set_value("4.9")
    field(app, "Tangential %").set_value("much")
    next(b for b in app.button if b.label == "Take these").click().run()
    assert "shrinkage" not in read(folder)["wood"]
    assert "much" in words_on(app)
    field(app, "Tangential %").set_value("7.8")
    next(b for b in app.button if b.label == "Take these").click().run()
    assert read(folder)["wood"]["shrinkage"] == {"radial": 4.9, "tangential": 7.8}
    assert not app.exception


def test_a_rebated_edge_is_set_with_its_tongue(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Piece")
    next(s for s in app.selectbox if s.label == "What enters the groove is").select_index(1)
    next(b for b in app.button if b.label == "Make it so").click().run()
    assert [f.label for f in app.text_input if "ongue" in f.label] == ["Thickness of the tongue"]
    assert "the thickness that enters the groove" in words_on(app)
    assert steps.open_job(folder).panel.edge == "flat"
    field(app, "Thickness of the tongue").set_value("1/8 in")
    next(s for s in app.selectbox if s.label == "What enters the groove is").select_index(1)
    next(b for b in app.button if b.label == "Make it so").click().run()
    assert steps.open_job(folder).panel.edge == "rebated"
    assert steps.open_job(folder).panel.tongue_mm == pytest.approx(25.4 / 8)
    assert not app.exception


def test_a_board_that_is_renamed_stays_on_the_bench_and_keeps_what_was_decided_of_it(monkeypatch, folder) -> None:
    changes.leave_out(steps.open_job(folder), board="B")
    app = bench(start(monkeypatch, folder), "B")
    field(app, "Name").set_value("Butt").run()
    assert read(folder)["leave_out"] == [{"board": "Butt"}]
    assert "Board Butt" in words_on(app)
    assert not app.exception


def test_a_board_that_stays_in_the_rack(monkeypatch, folder) -> None:
    app = bench(start(monkeypatch, folder), "B")
    button(app, "leave:B").click().run()
    assert read(folder)["leave_out"] == [{"board": "B"}]
    button(app, "to_rack").click().run()
    assert "stays in the rack" in words_on(app)
    button(bench(app, "B"), "leave:B").click().run()
    assert "leave_out" not in read(folder)
    assert not app.exception


def test_a_bay_moved_by_hand_tells_its_cost_and_is_kept(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Choice")
    before = app.session_state["open_desk"].outcome
    bay = before.plan.bays[0]
    button(app, f"close:{bay.name}").click().run()
    button(app, "move:Turn end for end").click().run()
    moved = app.session_state["tried"]
    assert moved.plan.cost > before.plan.cost  # that one was proven best
    assert f"{moved.plan.cost - before.plan.cost:.2f} more than before" in words_on(app)
    assert "keep" not in read(folder)
    wait_for_work(button(app, "move:keep").click().run())
    turned = {b.name: b for b in moved.plan.bays}[bay.name].panels["lower"].strips[0]
    assert read(folder)["keep"][0]["foot"] == turned.foot != bay.panels["lower"].strips[0].foot
    now = {b.name: b for b in app.session_state["open_desk"].outcome.plan.bays}[bay.name].panels["lower"].strips[0]
    assert (now.leaf, now.foot) == (turned.leaf, turned.foot)
    assert now.x_mm == pytest.approx(turned.x_mm, abs=0.02)
    assert not app.exception


def test_a_move_that_cannot_be_is_told(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Choice")
    bay = app.session_state["open_desk"].outcome.plan.bays[0]
    button(app, f"close:{bay.name}").click().run()
    app.session_state["slide_step"] = "2 in"
    for _ in range(40):
        button(app, "move:Toward the foot").click().run()
        if "move_told" in app.session_state:
            break
    assert "cannot stay" in words_on(app)
    assert not app.exception


def test_a_long_side_in_several_photos(folder) -> None:
    """Three photos of a 73 in board: each shows the next by a third, the corners of the first stretch are gone."""
    photo = (folder / "photos" / "b-face.jpg").read_bytes()
    job = changes.add_stretch(steps.open_job(folder), "A", "face", content=photo)
    assert [shot["x"] for shot in read(folder)["board"][0]["face"]] == [["0 in", "43 3/4 in"], ["29 1/4 in", "73 in"]]
    assert "corners" not in read(folder)["board"][0]["face"][0]
    job = changes.set_corners(job, "A", "face", corners=[(30, 230), (2840, 254), (2825, 540), (38, 509)], photo=1)
    job = changes.add_stretch(job, "A", "face", content=photo)
    shots = job.board("A").photos["face"]
    for first, second in pairwise(shots):
        overlap = first.x_mm[1] - second.x_mm[0]
        assert overlap == pytest.approx((first.x_mm[1] - first.x_mm[0]) / 3, abs=8)
    assert shots[-1].x_mm[1] == pytest.approx(73 * 25.4)
    job = changes.remove_photo(job, board="A", side="face", at=2)
    assert len(job.board("A").photos["face"]) == 2
    part = looks.take_stretch(replace(job.board("A"), width_head_mm=150.0), (0.0, 73 * 12.7))
    assert (part.length_mm, part.width_head_mm) == (73 * 12.7, pytest.approx((7.5 * 25.4 + 150) / 2))


def test_the_bench_of_a_side_in_several_photos(monkeypatch, folder) -> None:
    photo = (folder / "photos" / "a-face.jpg").read_bytes()
    changes.add_stretch(steps.open_job(folder), "A", "face", content=photo)
    app = bench(start(monkeypatch, folder), "A")
    field(app, "From the foot, ends at").set_value("45 in").run()
    assert read(folder)["board"][0]["face"][0]["x"] == ["0 in", "45 in"]
    app.session_state[find_corners_key(app)] = {
        "points": [[30.0, 226.3], [2842.9, 254.0], [2825.2, 539.9], [38.1, 509.1]]
    }
    app.run()
    button(app, "write:A:face:0").click().run()
    assert read(folder)["board"][0]["face"][0]["corners"][0] == [30, 226.3]
    assert not app.exception


def test_leaves_after_the_saw_are_told_and_the_choice_is_made_again_with_them(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "After the saw")
    used = app.session_state["open_desk"].outcome.plan.bays[0]
    leaf = used.panels["lower"].strips[0].leaf
    app.session_state["leaf"] = leaf.name
    app.run()
    button(app, f"report:{leaf.name}").click().run()
    assert read(folder)["leaf"] == [{"leaf": leaf.name}]
    field(app, "Cup").set_value("1/32 in").run()
    side = "near"
    photo = (folder / "photos" / f"{leaf.board.lower()}-face.jpg").read_bytes()
    app.file_uploader[0].upload("IMG_2.jpg", photo, "image/jpeg").run()
    button(app, f"take_leaf:{leaf.name}:{side}").click().run()
    told = read(folder)["leaf"][0]
    assert told[side] == {"photo": f"photos/{leaf.name.lower()}-{side}.jpg"}
    corners = read(folder)["board"]["ABCD".index(leaf.board)]["face"]["corners"]
    app.session_state[find_corners_key(app)] = {"points": corners}
    app.run()
    button(app, f"write:{leaf.name}:{side}").click().run()
    assert read(folder)["leaf"][0][side]["corners"] == corners
    field(app, "Lost, because").set_value("split at the knot").run()
    assert "lost: split at the knot" in str(app.radio[0].options)
    wait_for_work(button(app, "choose_leaves").click().run())
    now = {b.name: b for b in app.session_state["open_desk"].outcome.plan.bays}
    assert all(s.leaf != leaf for bay in now.values() for p in bay.panels.values() for s in p.strips)
    button(app, f"forget:{leaf.name}").click().run()
    assert "leaf" not in read(folder)
    assert not app.exception


def test_choices_side_by_side_and_one_of_them_taken(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Choice")
    plan = app.session_state["open_desk"].outcome.plan
    assert plan.others
    button(app, "compare").click().run()
    assert all(other.says in words_on(app) for other in plan.others)
    wait_for_work(button(app, "other:0").click().run())
    wanted = {bay.name: [s.leaf for s in bay.panels["lower"].strips] for bay in plan.others[0].bays}
    got = app.session_state["open_desk"].outcome.plan
    assert {bay.name: [s.leaf for s in bay.panels["lower"].strips] for bay in got.bays} == wanted
    assert {keep["bay"] for keep in read(folder)["keep"]} == set(wanted)
    assert not app.exception


def test_a_bay_is_kept_while_a_better_choice_is_still_looked_for(monkeypatch, folder) -> None:
    """Pressed in quick succession: the page goes on, the last state of the job is what is planned in the end."""
    app = go_to(start(monkeypatch, folder), "Choice")
    bays = [bay.name for bay in app.session_state["open_desk"].outcome.plan.bays]
    for name in bays[:2]:
        button(app, f"keep:{name}").click().run()
    button(app, f"made:{bays[2]}").click().run()
    wait_for_work(app)
    assert {keep["bay"] for keep in read(folder)["keep"]} == set(bays[:3])
    assert read(folder)["bay"][[b["name"] for b in read(folder)["bay"]].index(bays[2])]["done"] is True
    desk = app.session_state["open_desk"]
    assert desk.is_current
    assert steps.reach_plan(folder).plan.job_sha256 == desk.job.sha256
    button(app, f"unmade:{bays[2]}").click().run()
    assert "done" not in read(folder)["bay"][2]
    assert not app.exception


def test_mist_and_cautions_stand_beside_the_piece(monkeypatch, planned) -> None:
    app = go_to(start(monkeypatch, planned), "Choice")
    assert "lean" in words_on(app) or "opposite ways" in words_on(app)
    outcome = app.session_state["open_desk"].outcome
    strips = [s for bay in outcome.plan.bays for p in bay.panels.values() for s in p.strips]
    standing_in = sum(s.seen == "stand-in" for s in strips)
    assert f"{standing_in} of {len(strips)} strips show the nearest outside" in words_on(app)
    clear = looks.draw_side_of(outcome.job, outcome, "front")
    assert not np.array_equal(clear, looks.draw_side_of(outcome.job, outcome, "front", misty=True))


def test_a_board_is_cut_into_pieces_first(monkeypatch, folder) -> None:
    app = start(monkeypatch, folder)
    app.session_state["bench_view"] = "Cuts"
    bench(app, "A")
    before = (folder / "job.toml").read_text(encoding="utf-8")
    button(app, "piece:A").click().run()
    foot, head = steps.open_job(folder).board("A").pieces
    assert (foot.name, head.name) == ("A foot", "A head")
    assert head.box.x0 - foot.box.x1 == pytest.approx(25.4 / 8)  # one crosscut
    assert head.box.x1 == pytest.approx(73 * 25.4)
    next(f for f in app.text_input if f.label == "To").set_value("30 in").run()
    assert steps.open_job(folder).board("A").pieces[0].box.x1 == pytest.approx(30 * 25.4)
    button(app, "whole:A").click().run()
    assert (folder / "job.toml").read_text(encoding="utf-8") == before
    assert not app.exception


def test_bays_change_places_with_all_their_words(folder) -> None:
    before = (folder / "job.toml").read_text(encoding="utf-8")
    job = changes.swap_bays(steps.open_job(folder), 0, 1)
    assert [bay.name for bay in job.bays][:2] == ["right door", "left door"]
    after = (folder / "job.toml").read_text(encoding="utf-8")
    assert sorted(after.split("\n")) == sorted(before.split("\n"))
    changes.swap_bays(job, 1, 0)
    assert (folder / "job.toml").read_text(encoding="utf-8") == before


def test_a_grey_card_is_marked_on_the_photo(monkeypatch, folder) -> None:
    app = start(monkeypatch, folder)
    bench(app, "A")
    app.session_state["card:A:face"] = {"last": {"do": "draw", "box": [100.2, 30.0, 180.0, 90.0], "stamp": 1}}
    app.run()
    assert read(folder)["board"][0]["face"]["grey_card"] == [[100, 30], [180, 90]]
    assert steps.open_job(folder).board("A").photos["face"][0].grey_card == ((100.0, 30.0), (180.0, 90.0))
    app.session_state["card:A:face"] = {"last": {"do": "drop", "id": "card", "stamp": 2}}
    app.run()
    assert "grey_card" not in read(folder)["board"][0]["face"]
    assert not app.exception


def test_what_counts_is_set_and_chosen_again_at_once(monkeypatch, folder) -> None:
    app = go_to(start(monkeypatch, folder), "Choice")
    app = go_to(app, "Piece")
    field(app, "Wood used counts").set_value("0").run()
    assert read(folder)["weights"] == {"wood": 0}
    desk = app.session_state["open_desk"]
    assert desk.known is not None
    assert not desk.is_current
    app = go_to(app, "Choice")
    wait_for_work(button(app, "choose").click().run())
    assert app.session_state["open_desk"].outcome.plan.cost_parts["wood"] == 0
    assert not app.exception
