"""Edits of job.toml: what is asked changes, every other character stays."""

import difflib
import re
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grainplan.boards import Flaw, Leaf
from grainplan.errors import GrainplanError, JobFileError
from grainplan.geometry import Box
from grainplan.job import Keep
from grainplan.jobfolder import editing as edit
from grainplan.jobfolder.reading import read_job
from grainplan.jobfolder.safesave import SaveError
from grainplan.jobfolder.shape import SHAPES, known_keys
from grainplan.jobfolder.tomltext import TomlEditError, TomlText
from tests.job_example import EXAMPLE, make_job_folder

TWO = """# the job of the hall
grainplan = 1   # format
title = "Hall"
units = "in"

[wood]
species = "white ash"   # from the old barn
moisture = 8.0

# two doors
[[bay]]
name = "left door"      # hinged left
width = 13              # a bare number
panel = "46 in"
mirror = "right door"
# hinges are 2 in

[[bay]]
name = "right door"
width = 13
panel = "46 in"

# the widest
[[board]]
name = "A"
length = "72 in"
width = "7 1/4 in"
thickness = "15/16 in"
face = { photo = "photos/a-face.jpg", foot = "left" }   # in the yard

[[board.flaw]]
kind = "knot"           # sound
on = "through"
from = [20, "1 in"]
to = ["22 in", "2 1/2 in"]

# from the same log
[[board]]
name = "B"
length = "72 in"
width = "7 in"
thickness = "1 in"
# seasoned two years

[[leave_out]]
board = "B"
bay = "left door"

[[keep]]                # looks right
bay = "left door"
leaves = ["A1", "A2"]
"""


def _changes(before, after):
    """Lines taken out and put in."""
    return [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[0] in "+-" and line[2:]]


def _save(tmp_path, *edits, text=TWO):
    folder = make_job_folder(tmp_path, text)
    job = edit.save_job(read_job(folder), edits)
    after = (folder / "job.toml").read_text(encoding="utf-8")
    assert read_job(folder) == job
    return job, _changes(text, after)


def test_one_value_changes_one_line_and_its_comment_stays(tmp_path):
    job, changes = _save(tmp_path, edit.set_value(("wood", "species"), "american elm"))
    assert changes == [
        '- species = "white ash"   # from the old barn',
        '+ species = "american elm"   # from the old barn',
    ]
    assert job.board("A").species == "american elm"


@pytest.mark.parametrize(
    ("change", "lines"),
    [
        (edit.set_value(("bay", "right door", "width"), "13 in"), ["- width = 13", '+ width = "13 in"']),
        (edit.set_value(("title",), 'A 6" chest'), ['- title = "Hall"', "+ title = 'A 6\" chest'"]),
        (edit.set_length(("board", "B", "cup"), 1.5, units="in"), ['+ cup = "0.0591 in"']),
        (edit.set_value(("bay", 1, "done"), True), ["+ done = true"]),
        (edit.set_value(("shop", "kerf"), "1/16 in"), ["+ [shop]", '+ kerf = "1/16 in"']),
        (edit.set_value(("wish", "spare_pair"), True), ["+ [wish]", "+ spare_pair = true"]),
        (edit.remove_value(("bay", "left door", "mirror")), ['- mirror = "right door"']),
        (edit.remove_value(("bay", "left door", "arch")), []),
        (edit.leave_out("A"), ["+ [[leave_out]]", '+ board = "A"']),
        (edit.leave_out("B", "left door"), []),
        (edit.take_back("B", "left door"), ["- [[leave_out]]", '- board = "B"', '- bay = "left door"']),
        (
            edit.undo_keep("left door"),
            ["- [[keep]]                # looks right", '- bay = "left door"', '- leaves = ["A1", "A2"]'],
        ),
        (edit.set_photo("B", "back", photo="photos/a-back.jpg"), ['+ back = { photo = "photos/a-back.jpg" }']),
        (
            edit.set_photo("A", "face", photo=None),
            ['- face = { photo = "photos/a-face.jpg", foot = "left" }   # in the yard'],
        ),
        (
            edit.set_corners("A", "face", corners=[(1.04, 2), (3710, 905), (3702, 1240.26), (4, 1228)]),
            [
                '- face = { photo = "photos/a-face.jpg", foot = "left" }   # in the yard',
                '+ face = { photo = "photos/a-face.jpg", foot = "left", corners = [[1, 2], [3710, 905], '
                "[3702, 1240.3], [4, 1228]] }   # in the yard",
            ],
        ),
    ],
)  # fmt: skip
def test_an_edit_changes_these_lines_and_no_others(tmp_path, change, lines):
    text = (
        TWO
        if "leave_out" not in str(lines)
        else TWO.replace('["A1", "A2"]', '["B1", "B2"]').replace(
            '[[leave_out]]\nboard = "B"\nbay = "left door"', '[[leave_out]]\nboard = "B"\nbay = "right door"'
        )
    )
    if "- [[leave_out]]" in lines:
        text = TWO
    folder = make_job_folder(tmp_path, text)
    edit.save_job(read_job(folder), [change])
    assert [line.rstrip() for line in _changes(text, (folder / "job.toml").read_text())] == lines


def test_a_keep_is_added_and_changed_in_place(tmp_path):
    keep = Keep("left door", (Leaf("A", 2), Leaf("A", 1)), x_mm=25.4, y_mm=2.38125, foot="up")
    job, changes = _save(tmp_path, edit.keep_bay(keep, units="in"))
    assert job.keeps[0].leaves == keep.leaves
    assert (job.keeps[0].x_mm, job.keeps[0].y_mm) == pytest.approx((25.4, 2.38125), abs=0.005)
    assert changes == [
        '- leaves = ["A1", "A2"]',
        '+ leaves = ["A2", "A1"]',
        '+ where = ["1 in", "3/32 in"]',
        '+ foot = "up"',
    ]
    job = edit.save_job(job, [edit.keep_bay(Keep("right door", (Leaf("B", 1),)), units="in")])
    assert [k.bay for k in job.keeps] == ["left door", "right door"]
    job = edit.save_job(job, [edit.keep_bay(Keep("left door", (Leaf("A", 1),)), units="in")])
    assert (job.keeps[0].leaves, job.keeps[0].x_mm, job.keeps[0].foot) == ((Leaf("A", 1),), None, None)


def test_flaws_that_stay_keep_their_words(tmp_path):
    folder = make_job_folder(tmp_path, TWO)
    job = read_job(folder)
    knot = job.board("A").flaws[0]
    check = Flaw("check", "face", Box(0, 0, 100, 5), avoid=False)
    job = edit.save_job(job, [edit.set_flaws("A", [knot, check], units="in")])
    assert [f.kind for f in job.board("A").flaws] == ["knot", "check"]
    assert 'kind = "knot"           # sound' in (folder / "job.toml").read_text()
    job = edit.save_job(job, [edit.set_flaws("A", [check], units="in"), edit.set_flaws("B", [knot], units="in")])
    assert [f.kind for f in job.board("A").flaws] == ["check"]
    assert [f.kind for f in job.board("B").flaws] == ["knot"]
    text = (folder / "job.toml").read_text()
    assert "# from the same log\n[[board]]\n" in text
    assert "# seasoned two years" in text


def test_a_board_goes_with_all_that_speaks_of_it_and_no_other_comment(tmp_path):
    job, changes = _save(tmp_path, edit.remove_board("A"))
    assert [b.name for b in job.boards] == ["B"]
    assert job.keeps == ()
    assert all(line.startswith("- ") for line in changes)
    gone = [line[2:] for line in changes]
    assert "# the widest" in gone
    assert "# from the same log" not in gone


def test_a_bay_goes_with_its_keep_and_its_mirror(tmp_path):
    text = TWO.replace('name = "right door"', 'name = "right door"\nmirror = "left door"')
    job, _ = _save(tmp_path, edit.remove_bay("left door"), text=text)
    assert [b.name for b in job.bays] == ["right door"]
    assert (job.bays[0].mirror, job.keeps, job.leave_outs) == (None, (), ())


def test_a_new_name_goes_everywhere(tmp_path):
    job, changes = _save(tmp_path, edit.rename_board("A", "Ash one"), edit.rename_bay("left door", "hatch"))
    assert job.keeps[0] == Keep("hatch", (Leaf("Ash one", 1), Leaf("Ash one", 2)))
    assert job.leave_outs[0].bay == "hatch"
    assert len([line for line in changes if line.startswith("+")]) == 5


def test_a_piece_that_is_renamed_keeps_what_the_file_says_of_its_leaves(tmp_path):
    pieces = '{ name = "foot B", x = ["0 in", "20 in"] }, { name = "head B", x = ["21 in", "40 in"] }'
    text = TWO.replace('name = "B"\n', f'name = "B"\npieces = [{pieces}]\n')
    text += '\n[[leaf]]\nleaf = "foot B1"\nlost = "it split"\n'
    job, _ = _save(tmp_path, edit.rename_board("foot B", "Short"), text=text)
    assert [piece.name for piece in job.board("B").pieces] == ["Short", "head B"]
    assert job.leaf_reports[0].leaf == Leaf("Short", 1)


def test_boards_and_bays_are_added_after_the_others(tmp_path):
    board = {
        "name": "C",
        "length": "50 in",
        "width": "6 in",
        "thickness": "1 in",
        "face": {"photo": "photos/a-face.jpg"},
    }
    board["flaw"] = [{"kind": "knot", "on": "face", "from": ["1 in", "1 in"], "to": ["2 in", "2 in"]}]
    bay = {"name": "side", "view": "left side", "width": "11 in", "panel": "46 in"}
    job, changes = _save(tmp_path, edit.add_board(board), edit.add_bay(bay))
    assert [b.name for b in job.boards] == ["A", "B", "C"]
    assert [b.name for b in job.bays] == ["left door", "right door", "side"]
    assert all(line.startswith("+ ") for line in changes)
    text = (tmp_path / "job.toml").read_text()
    assert text.index('name = "side"') < text.index("# the widest")
    assert text.index("# seasoned two years") < text.index('name = "C"') < text.index("[[leave_out]]")


def test_an_edit_that_makes_the_job_wrong_saves_nothing(tmp_path):
    folder = make_job_folder(tmp_path, TWO)
    job = read_job(folder)
    with pytest.raises(JobFileError, match=r"Board B, width: .* is more than this can be"):
        edit.save_job(job, [edit.set_value(("title",), "new"), edit.set_value(("board", "B", "width"), 900)])
    assert (folder / "job.toml").read_text() == TWO
    with pytest.raises(GrainplanError, match='no board "Z"'):
        edit.save_job(job, [edit.set_value(("board", "Z", "width"), "1 in")])


def test_a_file_changed_by_somebody_else_is_not_overwritten(tmp_path):
    folder = make_job_folder(tmp_path, TWO)
    job = read_job(folder)
    (folder / "job.toml").write_text(TWO + "# a thought of mine\n")
    with pytest.raises(SaveError, match="changed by somebody else"):
        edit.save_job(job, [edit.leave_out("A", "right door")])
    assert (folder / "job.toml").read_text() == TWO + "# a thought of mine\n"
    again = edit.save_job(read_job(folder), [edit.leave_out("A", "right door")])
    assert again.leave_outs[-1].board == "A"


def test_windows_lines_and_a_byte_order_mark_stay(tmp_path):
    folder = make_job_folder(tmp_path, TWO)
    before = b"\xef\xbb\xbf" + TWO.replace("\n", "\r\n").encode()
    (folder / "job.toml").write_bytes(before)
    edit.save_job(read_job(folder), [edit.set_value(("wood", "moisture"), 7.5)])
    assert (folder / "job.toml").read_bytes() == before.replace(b"moisture = 8.0", b"moisture = 7.5")
    edit.save_job(read_job(folder), [edit.leave_out("B", "right door")])
    after = (folder / "job.toml").read_bytes()
    assert after.count(b"\n") == after.count(b"\r\n")


ODD = """board = [{ name = "A", face = [{ photo = "a" }, { photo = "b" }] }, { name = "B" }]   # in one line
climate.driest.humidity = 25   # dotted
corners = [
  [1, 2],   # foot
  [3, 4],
]
text = '''
[not a table]
x = 1
'''

[climate.dampest]
humidity = 60
"quoted key" = 1
"""


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("board", 0, "face", 1, "photo"), "c"),
        (("board", 1, "face"), {"photo": "d"}),
        (("climate", "driest", "humidity"), 30),
        (("climate", "driest", "temperature"), "68 F"),
        (("climate", "dampest", "humidity"), 61),
        (("climate", "dampest", "temperature"), "77 F"),
        (("climate", "dampest", "quoted key"), 2),
        (("corners", 0), [9, 9]),
        (("corners", 1, 1), 8),
        (("text",), "short"),
        (("shop", "kerf"), 1.6),
        (("top",), [{"a": {"b": [1.5, "x"]}}]),
    ],
)
def test_files_written_in_unusual_ways_change_where_they_should(path, value):
    after = TomlText(ODD).set_value(path, value)
    here = tomllib.loads(after.text)
    for key in path:
        here = here[key]
    assert here == value
    for comment in ("# in one line", "# dotted", "# foot"):
        assert (comment in after.text) or path[0] == "corners"


def test_what_cannot_be_changed_safely_is_refused():
    with pytest.raises(TomlEditError):
        TomlText(ODD).set_value(("text", "x"), 1)
    with pytest.raises(TomlEditError):
        TomlText(ODD).set_value(("board", 7, "name"), "C")
    with pytest.raises(TomlEditError):
        TomlText(ODD).add_row(("text",), {"a": 1})


KEYS = st.sampled_from(["a", "b", "flaw", "x y", "é"])
SCALARS = st.one_of(st.integers(-(10**6), 10**6), st.booleans(), st.text(max_size=8), st.floats(-1e6, 1e6))
VALUES = st.recursive(SCALARS, lambda v: st.lists(v, max_size=3) | st.dictionaries(KEYS, v, max_size=3), max_leaves=5)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_any_values_anywhere_read_back_and_no_comment_is_lost(data):
    text = TomlText(TWO)
    for _ in range(4):
        rows = text.data
        place = data.draw(
            st.sampled_from(
                [("wood", "a"), ("b",), ("shop", "x y"), *(("board", i, "a") for i in range(len(rows["board"])))]
            )
        )
        value = data.draw(VALUES)
        text = text.set_value(place, value)
        here = text.data
        for key in place:
            here = here[key]
        assert here == value
        row = data.draw(st.dictionaries(KEYS, VALUES, min_size=1, max_size=2))
        text = text.add_row(("board",), row)
        assert text.data["board"][-1] == row
    for comment in [line[line.index("#") :] for line in TWO.splitlines() if "#" in line]:
        assert comment in text.text


def test_a_new_job_reads_and_explains_every_key(tmp_path):
    path = edit.new_job(tmp_path / "oak-chest")
    job = read_job(path.parent)
    assert job.title == "Oak chest"
    assert (path.parent / "photos").is_dir()
    text = path.read_text(encoding="utf-8")
    for table in SHAPES:
        for key in known_keys(table):
            if key != "grey_card":
                said = re.search(rf"\b{key}\s*=|[\[.]{key}\]", text)
                assert said, f"{table}.{key} is not explained"
    explained = set()
    for line in text.splitlines():
        key = line.split("=")[0].strip()
        if "=" in line and not line.startswith("#"):
            assert "#" in line or key in explained, f"not explained: {line}"
            explained.add(key)


def test_every_line_that_is_switched_off_reads_when_it_is_switched_on(tmp_path):
    path = edit.new_job(tmp_path / "chest")
    on = []
    for line in path.read_text(encoding="utf-8").splitlines():
        bare = line.removeprefix("# ")
        code = (
            bare.startswith("[")
            or (bare.split(" ")[0].isidentifier() and bare.split(" ")[1:2] == ["="])
            or bare.startswith("to ")
        )
        twice = bare.startswith(("face = [", "shrinkage", "panel =", "arch =", 'species = "american', "pieces"))
        on.append(bare if line.startswith("# ") and code and not twice else line)
    text = "\n".join(on).replace('edge = "flat"', 'edge = "raised"').replace('board = "A"', 'board = "B"')
    text = text.replace('lost = "split', '# lost = "split').replace("done = false", "done = true")
    text += '\n[[board]]\nname = "B"\nlength = 70\nwidth = 7\nthickness = 1\n'
    for name in ("a-face", "a-back", "a-foot", "a-head", "a1-near", "a1-far"):
        (path.parent / "photos" / f"{name}.jpg").write_bytes(b"photo")
    path.write_text(text, encoding="utf-8")
    job = read_job(path.parent)
    assert len(job.board("A").photos) == 4
    assert len(job.board("A").flaws) == 1
    assert (job.keeps[0].bay, job.leave_outs[0].board, job.spare_pair) == ("left door", "B", True)
    assert job.leaf_reports[0].near is not None
    assert job.panel.edge == "raised"


def test_a_job_is_never_begun_over_another(tmp_path):
    folder = make_job_folder(tmp_path, EXAMPLE)
    with pytest.raises(GrainplanError, match="stays as it is"):
        edit.new_job(folder)
    assert (folder / "job.toml").read_text() == EXAMPLE
