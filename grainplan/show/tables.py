"""The shop sheets' numbers as tables: comma-separated, a head line, lengths both as printed and in millimetres."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from grainplan.job import Job
from grainplan.plan import Plan
from grainplan.show.cutting import list_leaves, list_pieces, list_sawn
from grainplan.units import format_length

Row = Sequence[str]


def tabulate_plan(job: Job, plan: Plan) -> dict[str, str]:
    """The tables of a plan: resaw.csv, a row a leaf of the boards that are sawn; strips.csv; panels.csv.

    Where it has spares, spares.csv too.

    Returns
    -------
    dict
        File name to its text.
    """
    spares = {"spares.csv": _write(_tabulate_spares(plan))} if plan.spares else {}
    return spares | {
        "resaw.csv": _write(_tabulate_leaves(job, plan)),
        "strips.csv": _write(_tabulate_strips(job, plan)),
        "panels.csv": _write(_tabulate_panels(job, plan)),
    }


def _tabulate_leaves(job: Job, plan: Plan) -> list[Row]:
    rows: list[Row] = [
        ("board", "leaf", "saw_turn", "fence", "fence_mm", "sawn", "sawn_mm", "finished", "finished_mm", "tight")
    ]
    for use in list_sawn(plan):
        for leaf in list_leaves(use):
            # The last leaf comes off first; the first one is what stays at the fence.
            turn = use.leaves - leaf.number + 1
            fence = use.cuts_mm[leaf.number - 2] if leaf.number > 1 else None
            sawn, finished = use.sawn_leaf_mm[leaf.number - 1], use.finished_leaf_mm
            rows.append(
                (
                    use.name,
                    leaf.name,
                    "" if fence is None else str(turn),
                    *(("", "") if fence is None else _both(fence, job)),
                    *_both(sawn, job),
                    *_both(finished, job),
                    "tight" if use.tight else "",
                )
            )
    return rows


def _tabulate_strips(job: Job, plan: Plan) -> list[Row]:
    ends = ("x_from_mm", "x_to_mm", "y_from_mm", "y_to_mm")
    rows: list[Row] = [
        ("bay", "panel", "strip", "leaf", "shows", "foot", "length", "width", "length_mm", "width_mm", *ends)
    ]
    for piece in list_pieces(plan):
        strip = piece.strip
        rows.append(
            (
                piece.bay,
                piece.part,
                str(piece.position + 1),
                strip.leaf.name,
                strip.surface,
                strip.foot,
                format_length(piece.length_mm, job.units, smallest=32),
                format_length(piece.width_mm, job.units, smallest=32),
                *(f"{v:.2f}" for v in (piece.length_mm, piece.width_mm, *strip.x_mm, *strip.y_mm)),
            )
        )
    return rows


def _tabulate_spares(plan: Plan) -> list[Row]:
    rows: list[Row] = [
        ("spare", "strip", "leaf", "shows", "foot", "x_from_mm", "x_to_mm", "y_from_mm", "y_to_mm", "could_replace")
    ]
    for number, spare in enumerate(plan.spares, start=1):
        panels = "; ".join(f"{p.bay} {p.panel}" for p in spare.replaces)
        for position, strip in enumerate(spare.strips, start=1):
            place = (f"{v:.2f}" for v in (*strip.x_mm, *strip.y_mm))
            rows.append((str(number), str(position), strip.leaf.name, strip.surface, strip.foot, *place, panels))
    return rows


def _tabulate_panels(job: Job, plan: Plan) -> list[Row]:
    edges = ("tongue_mm", "field_width_mm", "field_height_mm")
    rows: list[Row] = [
        ("bay", "panel", "width", "height", "width_mm", "height_mm", "rough_width_mm", "rough_height_mm", *edges)
    ]
    for bay in plan.bays:
        for part, panel in bay.panels.items():
            rough = (panel.width_mm + 2 * job.shop.over_width_mm, panel.height_mm + 2 * job.shop.over_length_mm)
            printed = (format_length(v, job.units, smallest=32) for v in (panel.width_mm, panel.height_mm))
            sizes = (f"{v:.2f}" for v in (panel.width_mm, panel.height_mm, *rough))
            edge = ("", "", "")
            if panel.tongue_mm is not None and panel.field_mm is not None:
                edge = (f"{panel.tongue_mm:.2f}", f"{panel.field_mm[0]:.2f}", f"{panel.field_mm[1]:.2f}")
            rows.append((bay.name, part, *printed, *sizes, *edge))
    return rows


def _both(length_mm: float, job: Job) -> tuple[str, str]:
    return format_length(length_mm, job.units), f"{length_mm:.2f}"


def _write(rows: list[Row]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()
