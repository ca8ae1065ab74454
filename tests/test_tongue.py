"""Rebated and raised panels: what stays at full thickness, and whether the tongue goes into its groove."""

from __future__ import annotations

import subprocess

import pytest

from grainplan.errors import JobFileError
from grainplan.frame import PanelMaking
from grainplan.jobfolder.planfile import plan_from_json, plan_to_json
from grainplan.jobfolder.reading import read_job
from grainplan.match.assign import choose_leaves
from grainplan.show.tables import tabulate_plan
from tests.job_example import EXAMPLE, make_job_folder
from tests.test_assign import INCH, make_bay, make_board, make_request


def making(**more):
    values = {"float_mm": INCH / 4, "strips": 2, "edge": "rebated", "tongue_mm": 3 * INCH / 16} | more
    return PanelMaking(**values)


def write_job(tmp_path, lines):
    return read_job(make_job_folder(tmp_path, EXAMPLE.replace("groove = ", f"{lines}\ngroove = ", 1)))


def test_shoulder_stands_as_far_from_the_frame_as_the_edge_from_its_groove():
    """Sight width less the float across, sight height less both end gaps along: by the geometry of the groove."""
    bay = make_bay()
    plan = choose_leaves(make_request([bay], [make_board()], making=making()))
    for part, sight in bay.sight_heights_mm.items():
        panel = plan.bays[0].panels[part]
        assert panel.tongue_mm == pytest.approx(4.7625)
        assert panel.field_mm == pytest.approx((bay.width_mm - INCH / 4, sight - INCH / 8))
    again = plan_from_json(plan_to_json(plan))
    for part, panel in plan.bays[0].panels.items():
        assert again.bays[0].panels[part].field_mm == pytest.approx(panel.field_mm, abs=0.006)
        assert again.bays[0].panels[part].tongue_mm == pytest.approx(panel.tongue_mm, abs=0.006)


def test_flat_panel_has_no_tongue():
    plan = choose_leaves(make_request([make_bay()], [make_board()]))
    assert plan.bays[0].panels["lower"].field_mm is None
    assert "tongue_mm" not in plan_to_json(plan)["bays"][0]["lower"]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('edge = "raised"\ntongue = "3/16 in"\ngroove_width = "1/4 in"', "1/16 in of play, and the panel rattles"),
        ('edge = "rebated"\ntongue = "3/32 in"', "a tongue of 3/32 in breaks easily; 1/8 in is the least"),
        ('groove_width = "5/16 in"', "the flat edge is 1/4 in thick in a groove 5/16 in wide"),
    ],
)
def test_what_does_not_suit_the_groove_is_told(tmp_path, lines, said):
    job = write_job(tmp_path, lines)
    assert any(remark.startswith("[panel], edge: ") and said in remark for remark in job.remarks), job.remarks


def test_what_suits_the_groove_is_not_remarked_on(tmp_path):
    job = write_job(tmp_path, 'edge = "raised"\ntongue = "3/16 in"\ngroove_width = "3/16 in"')
    assert not any(remark.startswith("[panel]") for remark in job.remarks)


def test_tongue_too_thick_for_its_groove_is_a_fault(tmp_path):
    with pytest.raises(JobFileError, match=r"is 3/16 in thick and does not go into 1/8 in"):
        write_job(tmp_path, 'edge = "raised"\ntongue = "3/16 in"\ngroove_width = "1/8 in"')
    assert "does not go into a groove 1/8 in wide" in making(groove_width_mm=INCH / 8).judge_edge("in")[0]


def test_sheets_and_tables_tell_the_tongue(tmp_path):
    from grainplan.show.sheets import draw_sheets

    job = write_job(tmp_path, 'edge = "rebated"\ntongue = "3/16 in"\ngroove_width = "3/16 in"')
    board = make_board()
    plan = choose_leaves(make_request(list(job.bays), [board], making=job.panel))
    rows = tabulate_plan(job, plan)["panels.csv"].splitlines()
    assert rows[0].endswith("tongue_mm,field_width_mm,field_height_mm")
    assert rows[1].split(",")[-3] == "4.76"
    (tmp_path / "sheets.pdf").write_bytes(draw_sheets(job, plan))
    shown = subprocess.run(["pdftotext", tmp_path / "sheets.pdf", "-"], capture_output=True, text=True, check=True)
    text = " ".join(shown.stdout.split())
    assert "3/8 in wide and 1/16 in deep all round; the tongue left is 3/16 in thick" in text
    assert "its field" in text
