"""job.toml read: the example of the format, every later key, and where each value lands."""

from pathlib import Path

import pytest

from grainplan.boards import Leaf, SidePhoto
from grainplan.errors import JobFileError
from grainplan.geometry import Box
from grainplan.jobfolder.reading import find_job_file, read_job
from grainplan.plan import Weights
from tests.job_example import EXAMPLE, make_job_folder

SAMPLE = Path(__file__).parent.parent / "sample_images" / "hall-cupboard"


def test_the_example_of_the_format_reads_without_fault(tmp_path):
    job = read_job(make_job_folder(tmp_path, EXAMPLE))
    board, bay = job.board("A"), job.bays[0]
    assert (job.title, job.units) == ("Hall cupboard", "in")
    assert (board.length_mm, board.width_mm, board.thickness_mm) == pytest.approx((1828.8, 184.15, 23.8125))
    assert board.cup_mm == pytest.approx(0.79375)
    assert (board.species, board.moisture_percent, board.price) == ("white ash", 8.0, 9.5)
    assert board.photos["face"][0].corners == ((412, 880), (3710, 905), (3702, 1240), (415, 1228))
    assert board.photos["back"][0].foot == "left"
    assert board.photos["foot"][0].path == tmp_path / "photos" / "a-foot.jpg"
    flaw = board.flaws[0]
    assert (flaw.kind, flaw.on, flaw.avoid, flaw.found_by) == ("knot", "through", True, "maker")
    assert flaw.box == Box(508.0, 25.4, 558.8, 63.5)
    assert (bay.lower_mm, bay.upper_mm, bay.rail_mm, bay.arch_mm) == pytest.approx((762.0, 406.4, 63.5, 31.75))
    assert (bay.view, bay.alike, bay.seen, bay.matters, bay.done) == ("front", "doors", "both", 2.0, False)
    assert (job.shop.kerf_mm, job.shop.saw_height_mm) == pytest.approx((1.5875, 254.0))
    assert job.climate.driest.temperature_c == pytest.approx(20.0)
    assert job.climate.dampest.humidity_percent == 65
    assert (job.panel.float_mm, job.panel.strips, job.panel.match) == (None, None, "book")
    assert job.frame.bottom_rail_mm == pytest.approx(76.2)


def test_a_lone_bay_may_name_the_mirror_image_that_is_written_next(tmp_path):
    job = read_job(make_job_folder(tmp_path, EXAMPLE))
    assert job.bays[0].mirror is None
    assert any("right door" in remark for remark in job.remarks)


def test_the_sample_job_reads_without_fault():
    job = read_job(SAMPLE)
    assert len(job.boards) == 6
    assert len(job.bays) == 4


LATER = """
[wish]
spare_pair = true

[weights]
seams = 2
tone = 0.5

[ring_bands]
plain_to = 25
rift_to = 65

[[keep]]
bay = "left door"
leaves = ["A1", "A2"]
where = ["1 in", "2.38 mm"]
foot = "down"

[[leave_out]]
board = "B"
bay = "left door"

[[leave_out]]
board = "B"

[[leaf]]
leaf = "A1"
far = { photo = "photos/a-face.jpg", foot = "right" }
thickness = "9/32 in"
cup = "1/64 in"

[[leaf]]
leaf = "C2"
lost = "split along the pith on the second day"

[[board]]
name = "B"
species = "American elm"
length = "50 in"
width = "6 in"
width_head = "5 in"
thickness = "1 in"
pieces = [{ name = "B low", x = ["0 in", "24 in"] }, { name = "B high", x = ["24 1/8 in", "50 in"], y = [0, 5] }]
face = [{ photo = "photos/a-face.jpg", x = ["0 in", "30 in"] }, { photo = "photos/a-back.jpg", x = ["28 in", "50 in"] }]

[[board]]
name = "C"
shrinkage = { radial = 4.9, tangential = 7.8 }
moisture = 9
length = "50 in"
width = "6 in"
thickness = "1 in"
"""


def test_the_later_keys_land_in_the_job(tmp_path):
    text = EXAMPLE.replace("matters = 2", "matters = 2\ndone = true") + LATER
    text = text.replace("groove = ", 'edge = "raised"\ntongue = "3/16 in"\ngroove_width = "3/16 in"\ngroove = ')
    job = read_job(make_job_folder(tmp_path, text))
    assert job.spare_pair
    assert job.weights == Weights(seams=2, tone=0.5)
    assert (job.ring_bands.plain_to_deg, job.ring_bands.rift_to_deg) == (25, 65)
    assert job.bays[0].done
    keep = job.keeps[0]
    assert (keep.bay, keep.leaves, keep.foot) == ("left door", (Leaf("A", 1), Leaf("A", 2)), "down")
    assert (keep.x_mm, keep.y_mm) == pytest.approx((25.4, 2.38))
    assert [(out.board, out.bay) for out in job.leave_outs] == [("B", "left door"), ("B", None)]
    first, second = job.leaf_reports
    assert first.far == SidePhoto(tmp_path / "photos/a-face.jpg", foot="right")
    assert first.near is None
    assert (first.thickness_mm, first.cup_mm) == pytest.approx((7.14375, 0.396875))
    assert second.lost == "split along the pith on the second day"
    elm = job.board("B")
    assert (elm.species, elm.width_head_mm) == ("american elm", pytest.approx(127.0))
    assert [p.name for p in elm.pieces] == ["B low", "B high"]
    box = elm.pieces[0].box
    assert (box.x0, box.y0, box.x1, box.y1) == pytest.approx((0, 0, 609.6, 152.4))
    assert [p.x_mm for p in elm.photos["face"]] == [pytest.approx((0, 762.0)), pytest.approx((711.2, 1270.0))]
    assert (job.panel.edge, job.panel.tongue_mm) == ("raised", pytest.approx(4.7625))


def test_own_shrinkage_gives_the_published_coefficients(tmp_path):
    # Wood Handbook (FPL-GTR-190), Tables 4-3 and 13-5, white ash: 4.9 and 7.8 per cent, 0.00169 and 0.00274.
    job = read_job(make_job_folder(tmp_path, EXAMPLE + LATER))
    own = job.species[job.board("C").species]
    assert own.name != "white ash"
    assert (own.radial_coefficient, own.tangential_coefficient) == pytest.approx((0.00169, 0.00274), abs=5e-6)


def test_a_word_of_the_shop_is_taken_for_its_species_and_told(tmp_path):
    job = read_job(make_job_folder(tmp_path, EXAMPLE.replace('"white ash"', '"ash"')))
    assert job.board("A").species == "white ash"
    assert any("white ash" in remark for remark in job.remarks)


def test_a_file_with_a_byte_order_mark_or_with_windows_lines_reads_alike(tmp_path):
    folder = make_job_folder(tmp_path, EXAMPLE)
    plain = read_job(folder)
    (folder / "job.toml").write_bytes(b"\xef\xbb\xbf" + EXAMPLE.replace("\n", "\r\n").encode())
    assert read_job(folder).boards == plain.boards


def test_the_folder_and_the_file_are_one_job_and_a_missing_one_is_told(tmp_path):
    folder = make_job_folder(tmp_path, EXAMPLE)
    assert find_job_file(folder) == find_job_file(folder / "job.toml")
    with pytest.raises(JobFileError, match=r"did you mean .*job\.toml"):
        read_job(folder / "jobb.toml")
    with pytest.raises(JobFileError, match="is not there"):
        read_job(folder / "nothing")
