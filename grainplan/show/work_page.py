"""The first page: what there is to do, in order, the boards at a glance, and whether the printer kept the scale."""

from __future__ import annotations

from grainplan.job import Job
from grainplan.plan import Plan
from grainplan.show import cautions
from grainplan.show.cutting import list_sawn
from grainplan.show.layout import Page, draw_table, write_finely
from grainplan.show.paper import CHECK_SQUARE_MM, Ink, find_missing
from grainplan.units import format_length

_STEPS = (
    "Let the boards come to the air of the shop; read their moisture again before the saw.",
    "Mark every board: FOOT, face side, face edge, the triangle across its foot end.",
    "Where a board's page says so, rip or crosscut it first. Flatten the face, true the edge, plane the back parallel.",
    "Saw a test cut in scrap: measure the kerf and how far it wanders. If they are not what is reckoned with here, "
    "plan again.",
    "Resaw by the board's page, last leaf first. Label every leaf as it comes off.",
    "LET THE LEAVES REST on stickers until they stop moving, before any final planing.",
    "Photograph both sides of the leaves that matter; put the photos into the job and plan again with what is there.",
    "Plane to thickness by the board's page: sawn surfaces first.",
    "Saw the strips out by the leaf's lines. Label every strip.",
    "Lay each bay out by its page; look at it from the front and in the light it will stand in; draw the triangle.",
    "Joint, glue, let it set, trim to the finished size. Try it dry in its frame.",
    "Stain and finish the panels, then glue up the frames, each panel pinned at its middle only.",
)


def draw_work_page(page: Page, job: Job, *, plan: Plan) -> None:
    """Fill the first page of the shop sheets."""
    page.begin()
    side = page.right_mm - CHECK_SQUARE_MM
    width = side - page.left_mm - 8
    top = page.y_mm
    page.paper.draw_check_square((side, top + 2))
    page.head("In this order")
    y = page.y_mm + 7
    for number, step in enumerate(_STEPS, start=1):
        page.paper.write((page.left_mm, y + 4.2), "☐", Ink(14))
        page.paper.write((page.left_mm + 12.5, y + 4.1), str(number), Ink(11.5, bold=True, align="right"))
        y += page.paper.write_block((page.left_mm + 15, y), step, Ink(11.5), width_mm=width - 15) + 1.3
    page.y_mm = top + CHECK_SQUARE_MM + 8
    _write_reckoning(page, job, plan=plan, left_mm=side)
    page.y_mm = y + 2
    page.y_mm += _draw_boards(page, job, plan=plan, width_mm=width) + 2
    _write_remarks(page, job, plan=plan, width_mm=width)


def _write_reckoning(page: Page, job: Job, *, plan: Plan, left_mm: float) -> None:
    """At the right: what the plan reckons with, and whose word comes first."""
    shop, units = job.shop, job.units
    page.head("Reckoned with", at_mm=left_mm)
    lines = [
        ("resaw kerf", write_finely(shop.kerf_mm, units)),
        ("a cut wanders", write_finely(shop.saw_tolerance_mm, units)),
        ("off a sawn side", write_finely(shop.planing_mm, units)),
        ("off the outside", write_finely(shop.outer_planing_mm, units)),
        ("rip kerf", write_finely(shop.rip_mm, units)),
        ("crosscut kerf", write_finely(shop.crosscut_mm, units)),
        ("off a glued edge", write_finely(shop.joint_mm, units)),
        ("leaf, finished", write_finely(job.panel.thickness_mm, units)),
    ]
    y = page.y_mm + 7
    for name, size in lines:
        page.paper.write((left_mm, y + 3), name, Ink(8.5))
        page.paper.write((page.right_mm, y + 3), size, Ink(8.5, align="right"))
        y += 4.6
    y += 2
    page.paper.write_block((left_mm, y), f"Plan: {plan.status}.", Ink(8.5), width_mm=CHECK_SQUARE_MM)
    y += 5
    y += page.paper.write_block((left_mm, y), cautions.MANUAL, Ink(9, bold=True), width_mm=CHECK_SQUARE_MM) + 2
    page.paper.write_block((left_mm, y), cautions.DUST, Ink(8), width_mm=CHECK_SQUARE_MM)


def _draw_boards(page: Page, job: Job, *, plan: Plan, width_mm: float) -> float:
    """The boards that are sawn, and the bays that each one fills."""
    rows = []
    sawn = list_sawn(plan)
    for use in sawn:
        bays = [b.name for b in plan.bays if any(s.leaf.board == use.name for p in b.panels.values() for s in p.strips)]
        fences = ", ".join(format_length(c, job.units) for c in reversed(use.cuts_mm)) or "no cut"
        rows.append((use.name, f"{use.leaves}{' TIGHT' if use.tight else ''}", fences, ", ".join(bays)))
    rows += [(use.name, "–", "not used: do not saw it", "–") for use in plan.boards if use not in sawn]
    shares = (("board", 0.12), ("leaves", 0.15), ("fences, in saw order", 0.33), ("for", 0.4))
    return draw_table(page, (page.left_mm, page.y_mm), [(h, s * width_mm) for h, s in shares], rows=rows)


def _write_remarks(page: Page, job: Job, *, plan: Plan, width_mm: float) -> None:
    """Bays that stay empty, doubts of the plan, and letters that the print font lacks."""
    remarks = [f"⚠ {u.name} is not filled: {u.reason}" for u in plan.unfilled]
    remarks += list(plan.caveats)
    missing = find_missing(" ".join([job.title, *(b.name for b in job.bays), *(b.name for b in job.boards)]))
    if missing:
        codes = ", ".join(f"U+{ord(c):04X}" for c in missing)
        remarks.append(f"Some characters of this job's names cannot be printed and stand as □ ({codes}).")
    for remark in remarks:
        page.make_room(8)
        page.y_mm += page.paper.write_block((page.left_mm, page.y_mm), remark, Ink(8.5), width_mm=width_mm) + 0.5
