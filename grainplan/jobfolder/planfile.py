"""`out/plan.json` ↔ :class:`Plan`, both ways. Lengths stand to 0.01 mm; what a plan does not have is left out."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Literal, get_args

from grainplan.boards import Leaf, Surface
from grainplan.errors import PlanError
from grainplan.frame import Match, Part
from grainplan.job import Job
from grainplan.jobfolder.safesave import make_folder, replace_file
from grainplan.plan import (
    BoardUse,
    Continuity,
    Foot,
    Offcut,
    OtherPlan,
    Plan,
    PlannedBay,
    PlannedPanel,
    Seam,
    SeenAs,
    Span,
    Spare,
    SpareFor,
    Status,
    Strip,
    Unfilled,
    Weights,
)

PLAN_FILE = Path("out", "plan.json")
FORMAT = 1
_PARTS: tuple[Part, ...] = ("lower", "upper", "panel")
Table = dict[str, Any]
_SeamSide = Literal["front", "back"]


def write_plan(job: Job, plan: Plan) -> Path:
    """Write a plan to `out/plan.json` of its job; answers with the file."""
    path = job.folder / PLAN_FILE
    make_folder(path.parent)
    replace_file(path, (json.dumps(plan_to_json(plan), ensure_ascii=False, indent=1) + "\n").encode())
    return path


def read_plan(job: Job, *, of_any_state: bool = False) -> Plan:
    """Read the plan of a job.

    Parameters
    ----------
    job : Job
        Whose plan it is.
    of_any_state : bool
        Whether a plan is good enough that was made before the job file was last changed.

    Raises
    ------
    PlanError
        When there is no plan, it cannot be read, or it belongs to another state of the job.
    """
    plan = read_plan_file(job.folder / PLAN_FILE)
    if not of_any_state and plan.job_sha256 != job.sha256:
        raise PlanError("the job file has changed since out/plan.json was made; plan again with: grainplan plan")
    return plan


def read_plan_file(path: Path) -> Plan:
    """Read a plan file wherever it lies; see :func:`read_plan`."""
    return plan_from_json(read_json(path, again="grainplan plan"), str(path))


def read_json(path: Path, *, again: str) -> Table:
    """Read a JSON table that the program wrote; `again` is the command that makes it anew."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise PlanError(f"{path} is not there; make it with: {again}") from None
    except (OSError, ValueError, RecursionError) as error:
        raise PlanError(f"{path} cannot be read ({error}); make it again with: {again}") from None
    if not isinstance(found, dict):
        raise PlanError(f"{path} holds no table; make it again with: {again}")
    return found


def plan_to_json(plan: Plan) -> Table:
    """A plan as `plan.json` holds it, keys in the order of the format."""
    table: Table = {
        "grainplan": FORMAT,
        "title": plan.title,
        "job_sha256": plan.job_sha256,
        "status": plan.status,
        "cost": round(plan.cost, 4),
        "bound": round(plan.bound, 4),
        "cost_parts": {part: round(cost, 4) for part, cost in plan.cost_parts.items()},
    }
    if plan.weights != Weights():
        table["weights"] = asdict(plan.weights)
    table["boards"] = [_use_to_json(use) for use in plan.boards]
    table["bays"] = [_bay_to_json(bay) for bay in plan.bays]
    table["unfilled"] = [{"name": bay.name, "reason": bay.reason} for bay in plan.unfilled]
    table["offcuts"] = [_offcut_to_json(offcut) for offcut in plan.offcuts]
    if plan.others:
        table["others"] = [
            {"cost": round(o.cost, 4), "says": o.says, "bays": [_bay_to_json(b) for b in o.bays]} for o in plan.others
        ]
    if plan.spares:
        table["spares"] = [_spare_to_json(spare) for spare in plan.spares]
    if plan.no_spare:
        table["no_spare"] = plan.no_spare
    table["caveats"] = list(plan.caveats)
    return table


def _spare_to_json(spare: Spare) -> Table:
    return {
        "replaces": [{"bay": panel.bay, "panel": panel.panel} for panel in spare.replaces],
        "strips": [_strip_to_json(strip) for strip in spare.strips],
        "cost": round(spare.cost, 4),
        "says": spare.says,
    }


def _offcut_to_json(offcut: Offcut) -> Table:
    table: Table = {"leaf": offcut.leaf.name, "x_mm": to_mm(offcut.x_mm), "y_mm": to_mm(offcut.y_mm)}
    if offcut.y_head_mm is not None:
        table["y_head_mm"] = to_mm(offcut.y_head_mm)
    return table


def to_mm(lengths: Sequence[float]) -> list[float]:
    """Lengths as the files hold them, to 0.01 mm."""
    return [round_mm(v) for v in lengths]


def round_mm(length_mm: float) -> float:
    """A length to 0.01 mm; never a negative zero."""
    return round(float(length_mm), 2) + 0.0


def _maybe(value: float | None, digits: int) -> float | None:
    return None if value is None else round(float(value), digits) + 0.0


def _use_to_json(use: BoardUse) -> Table:
    return {
        "name": use.name,
        "leaves": use.leaves,
        "flat_thickness_mm": round_mm(use.flat_thickness_mm),
        "sawn_leaf_mm": to_mm(use.sawn_leaf_mm),
        "finished_leaf_mm": round_mm(use.finished_leaf_mm),
        "spare_mm": round_mm(use.spare_mm),
        "tight": use.tight,
        "mate_gap_mm": round_mm(use.mate_gap_mm),
        "cuts_mm": to_mm(use.cuts_mm),
        "used_fraction": round(use.used_fraction, 2),
        "caveats": list(use.caveats),
    }


def _bay_to_json(bay: PlannedBay) -> Table:
    table: Table = {"name": bay.name}
    for part in _PARTS:
        if part in bay.panels:
            panel = bay.panels[part]
            table[part] = {
                "width_mm": round_mm(panel.width_mm),
                "height_mm": round_mm(panel.height_mm),
                **_edge_to_json(panel),
                "strips": [_strip_to_json(strip) for strip in panel.strips],
            }
    table["seams"] = [_seam_to_json(seam) for seam in bay.seams]
    table["continuity"] = None if bay.continuity is None else _continuity_to_json(bay.continuity)
    if bay.why:
        table["why"] = bay.why
    table["caveats"] = list(bay.caveats)
    return table


def _edge_to_json(panel: PlannedPanel) -> Table:
    """What a panel with a tongue has beside its size; nothing for a flat one."""
    if panel.tongue_mm is None or panel.field_mm is None:
        return {}
    return {"tongue_mm": round_mm(panel.tongue_mm), "field_mm": to_mm(panel.field_mm)}


def _strip_to_json(strip: Strip) -> Table:
    return {
        "leaf": strip.leaf.name,
        "surface": strip.surface,
        "foot": strip.foot,
        "flipped": strip.flipped,
        "seen": strip.seen,
        "x_mm": to_mm(strip.x_mm),
        "y_mm": to_mm(strip.y_mm),
    }


def _seam_to_json(seam: Seam) -> Table:
    return {
        "panel": seam.panel,
        "side": seam.side,
        "between": list(seam.between),
        "match": seam.match,
        "edge_y_mm": round_mm(seam.edge_y_mm),
        "gap_mm": _maybe(seam.gap_mm, 2),
        "fit": _maybe(seam.fit, 3),
        "step_mm": _maybe(seam.step_mm, 2),
        "strangers": _maybe(seam.strangers, 3),
        "tone_de": _maybe(seam.tone_de, 2),
        "caveats": list(seam.caveats),
    }


def _continuity_to_json(continuity: Continuity) -> Table:
    table: Table = {
        "hidden_mm": round_mm(continuity.hidden_mm),
        "leaf_mm": round_mm(continuity.leaf_mm),
        "step_mm": [_maybe(step, 2) for step in continuity.step_mm],
    }
    if continuity.fit:
        table["fit"] = [_maybe(fit, 3) for fit in continuity.fit]
        table["strangers"] = _maybe(continuity.strangers, 3)
    if continuity.end_match:
        table["end_match"] = True
    if continuity.caveats:
        table["caveats"] = list(continuity.caveats)
    return table


def plan_from_json(table: Mapping[str, Any], called: str = "the plan") -> Plan:
    """The plan that a table of `plan.json` holds.

    Raises
    ------
    PlanError
        When the table is of another format, a key is missing, or a value cannot be.
    """
    if table.get("grainplan") != FORMAT:
        raise PlanError(
            f"{called} is of format {table.get('grainplan')}, not {FORMAT}; plan again with: grainplan plan"
        )
    try:
        return Plan(
            title=str(table["title"]),
            job_sha256=str(table["job_sha256"]),
            status=_word(table["status"], Status, "status"),
            cost=float(table["cost"]),
            bound=float(table["bound"]),
            cost_parts={str(part): float(cost) for part, cost in table["cost_parts"].items()},
            boards=tuple(_read_use(use) for use in table["boards"]),
            bays=tuple(_read_bay(bay) for bay in table["bays"]),
            unfilled=tuple(Unfilled(str(bay["name"]), str(bay["reason"])) for bay in table["unfilled"]),
            offcuts=tuple(_read_offcut(offcut) for offcut in table["offcuts"]),
            others=tuple(
                OtherPlan(float(o["cost"]), str(o["says"]), tuple(_read_bay(b) for b in o["bays"]))
                for o in table.get("others", ())
            ),
            caveats=read_words(table["caveats"]),
            weights=Weights(**table.get("weights", {})),
            spares=tuple(_read_spare(spare) for spare in table.get("spares", ())),
            no_spare=str(table.get("no_spare", "")),
        )
    except KeyError as error:
        raise PlanError(f"{called} lacks {error}; plan again with: grainplan plan") from None
    except (TypeError, ValueError, AttributeError) as error:
        raise PlanError(f"{called} is damaged ({error}); plan again with: grainplan plan") from None


def _word(value: object, words: Any, what: str) -> Any:
    if value not in get_args(words):
        raise ValueError(f"{what} is {value!r}")
    return value


def read_span(value: Sequence[float]) -> Span:
    """Two lengths of a file, the smaller first."""
    start, end = (float(v) for v in value)
    if not start <= end:
        raise ValueError(f"{start} to {end} runs backwards")
    return start, end


def read_words(value: object) -> tuple[str, ...]:
    """A list of sentences of a file."""
    if not isinstance(value, list):
        raise ValueError(f"sentences should be a list, found {value!r}")
    return tuple(str(v) for v in value)


def read_maybe(value: Any) -> float | None:
    """A figure of a file, or None where it could not be had."""
    return None if value is None else float(value)


def _leaf(table: Mapping[str, Any]) -> Leaf:
    return Leaf.from_name(str(table["leaf"]))


def _read_spare(table: Mapping[str, Any]) -> Spare:
    return Spare(
        tuple(SpareFor(str(p["bay"]), _word(p["panel"], Part, "panel")) for p in table["replaces"]),
        tuple(_read_strip(strip, "spare") for strip in table["strips"]),
        float(table["cost"]),
        str(table["says"]),
    )


def _read_offcut(table: Mapping[str, Any]) -> Offcut:
    head = read_span(table["y_head_mm"]) if "y_head_mm" in table else None
    return Offcut(_leaf(table), read_span(table["x_mm"]), read_span(table["y_mm"]), head)


def _read_use(table: Mapping[str, Any]) -> BoardUse:
    return BoardUse(
        name=str(table["name"]),
        leaves=int(table["leaves"]),
        flat_thickness_mm=float(table["flat_thickness_mm"]),
        sawn_leaf_mm=tuple(float(v) for v in table["sawn_leaf_mm"]),
        finished_leaf_mm=float(table["finished_leaf_mm"]),
        spare_mm=float(table["spare_mm"]),
        tight=bool(table["tight"]),
        mate_gap_mm=float(table["mate_gap_mm"]),
        cuts_mm=tuple(float(v) for v in table["cuts_mm"]),
        used_fraction=float(table["used_fraction"]),
        caveats=read_words(table["caveats"]),
    )


def _read_bay(table: Mapping[str, Any]) -> PlannedBay:
    name = str(table["name"])
    panels: dict[Part, PlannedPanel] = {
        part: PlannedPanel(
            float(table[part]["width_mm"]),
            float(table[part]["height_mm"]),
            tuple(_read_strip(strip, f"bay {name}, {part}") for strip in table[part]["strips"]),
            *_read_edge(table[part]),
        )
        for part in _PARTS
        if part in table
    }
    if not panels:
        raise ValueError(f"bay {name} has no panel")
    continuity = table["continuity"]
    return PlannedBay(
        name=name,
        panels=panels,
        seams=tuple(_read_seam(seam) for seam in table["seams"]),
        continuity=None
        if continuity is None
        else Continuity(
            float(continuity["hidden_mm"]),
            float(continuity["leaf_mm"]),
            tuple(read_maybe(v) for v in continuity["step_mm"]),
            tuple(read_maybe(v) for v in continuity.get("fit", ())),
            end_match=bool(continuity.get("end_match", False)),
            strangers=read_maybe(continuity.get("strangers")),
            caveats=read_words(continuity.get("caveats", [])),
        ),
        why=str(table.get("why", "")),
        caveats=read_words(table["caveats"]),
    )


def _read_edge(table: Mapping[str, Any]) -> tuple[float | None, tuple[float, float] | None]:
    if "tongue_mm" not in table:
        return None, None
    width, height = (float(v) for v in table["field_mm"])
    return float(table["tongue_mm"]), (width, height)


def _read_strip(table: Mapping[str, Any], place: str) -> Strip:
    surface: Surface = _word(table["surface"], Surface, f"{place}: surface")
    foot: Foot = _word(table["foot"], Foot, f"{place}: foot")
    seen: SeenAs = _word(table["seen"], SeenAs, f"{place}: seen")
    strip = Strip(_leaf(table), surface, foot, seen, read_span(table["x_mm"]), read_span(table["y_mm"]))
    if table["flipped"] is not strip.flipped:
        raise ValueError(
            f"{place}: {strip.leaf.name} with its {surface} surface in front and its foot {foot} is "
            f"{'' if strip.flipped else 'not '}flipped, but the file says otherwise"
        )
    return strip


def _read_seam(table: Mapping[str, Any]) -> Seam:
    left, right = (int(v) for v in table["between"])
    match: Match = _word(table["match"], Match, "match")
    return Seam(
        panel=_word(table["panel"], Part, "panel"),
        side=_word(table["side"], _SeamSide, "side"),
        between=(left, right),
        match=match,
        edge_y_mm=float(table["edge_y_mm"]),
        gap_mm=read_maybe(table["gap_mm"]),
        fit=read_maybe(table["fit"]),
        step_mm=read_maybe(table["step_mm"]),
        strangers=read_maybe(table["strangers"]),
        tone_de=read_maybe(table["tone_de"]),
        caveats=read_words(table["caveats"]),
    )
