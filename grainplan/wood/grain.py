"""What the grain of a board is like: how it runs and how the rings lie to the face; with its figure, all of a board."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from grainplan.boards import BROAD_SIDES, END_SIDES, Grain, Pith, Sawn, Side
from grainplan.errors import NotFound
from grainplan.job import RingBands
from grainplan.measured import Measured
from grainplan.picture import Picture
from grainplan.wood.figure import find_run_out, measure_ring_spacing
from grainplan.wood.orient import Floats, measure_direction
from grainplan.wood.pith import PithPlace, RingLines, find_pith, trace_ring_lines

BIN_MM = 6.0


def measure_ring_angle(end: Picture) -> Measured | NotFound:
    """Angle between the ring lines and the face in the cross-section, mean over the width: 0 flat, 90 quarter.

    Parameters
    ----------
    end : Picture
        Foot or head in the board frame: columns y, rows z.

    Returns
    -------
    Measured or NotFound
        Degrees, 0 to 90.
    """
    profile = measure_ring_angle_profile(end)
    if isinstance(profile, NotFound):
        return profile
    _, angle_deg = profile
    independent = max(2.0, end.width_mm / 25.0)
    return Measured(float(angle_deg.mean()), 2.0 * (1.5 + 5.0 / np.sqrt(independent)))


def measure_ring_angle_profile(end: Picture) -> tuple[Floats, Floats] | NotFound:
    """Ring angle across the width: places y (mm) and the angle to the face there (degrees, 0 to 90)."""
    lines = trace_ring_lines(end)
    if lines.weight.sum() < 5.0:
        return NotFound("the photo of the end shows no ring lines")
    return average_ring_angle(lines, end.width_mm)


def average_ring_angle(lines: RingLines, width_mm: float) -> tuple[Floats, Floats]:
    """Mean ring angle in steps across the width; steps without clear lines are bridged."""
    steps = max(1, round(width_mm / BIN_MM))
    index = np.clip((lines.places[:, 0] / width_mm * steps).astype(int), 0, steps - 1)
    steep = np.degrees(np.arctan2(np.abs(lines.along[:, 1]), np.abs(lines.along[:, 0])))
    weight = np.bincount(index, lines.weight, steps)
    total = np.bincount(index, lines.weight * steep, steps)
    seen = weight > 0.15 * weight.mean()
    middle = (np.arange(steps) + 0.5) * width_mm / steps
    angle = np.interp(middle, middle[seen], total[seen] / weight[seen])
    return middle.astype(np.float32), angle.astype(np.float32)


def name_cut(ring_angle_deg: float, bands: RingBands) -> Sawn:
    """Plain, rift or quarter, by the ring angle; a limit belongs to the flatter kind."""
    if ring_angle_deg <= bands.plain_to_deg:
        return "plain"
    return "rift" if ring_angle_deg <= bands.rift_to_deg else "quarter"


def measure_run(side: Picture) -> tuple[float, float] | NotFound:
    """How the lines of a broad side run: mean angle to the length (degrees, toward larger y) and straightness.

    Straightness is the length of the mean of the doubled-angle vectors: 1 where all lines are parallel.
    """
    field = measure_direction(side)
    weight = field.sure**2
    if float(weight.mean()) < 0.02:
        return NotFound("the side shows no lines")
    doubled = np.exp(2j * np.radians(field.angle_deg))
    mean = complex((weight * doubled).sum() / weight.sum())
    return float(np.degrees(np.angle(mean)) / 2.0), float(abs(mean))


def find_pith_line(ends: Mapping[Side, Picture]) -> Pith | NotFound:
    """Where the pith passes the ends that have photos, each read by itself.

    Returns
    -------
    Pith or NotFound
        The doubt is the larger of the two ends' own.
    """
    found: dict[Side, PithPlace] = {}
    reason = "there is no photo of an end"
    for side in END_SIDES:
        if side in ends:
            place = find_pith(ends[side])
            if isinstance(place, NotFound):
                reason = place.reason
            else:
                found[side] = place
    if not found:
        return NotFound(reason)
    foot, head = found.get("foot"), found.get("head")
    return Pith(
        (foot.y_mm, foot.z_mm) if foot else None,
        (head.y_mm, head.z_mm) if head else None,
        max(place.doubt_mm for place in found.values()),
    )


def measure_grain(sides: Mapping[Side, Picture], bands: RingBands, *, pith: Pith | None = None) -> Grain:
    """All grain figures of a board; what could not be had is None, with its reason among the caveats.

    Parameters
    ----------
    sides : mapping of side to Picture
        The flattened sides that there are.
    bands : RingBands
        Ring angles up to which wood counts as plain and as rift.
    pith : Pith or None
        Where it passes the ends, for the run-out.
    """
    caveats: list[str] = []
    broad = [sides[side] for side in BROAD_SIDES if side in sides]
    ends = [sides[side] for side in END_SIDES if side in sides]
    run = measure_run(broad[0]) if broad else NotFound("there is no photo of a broad side")
    if isinstance(run, NotFound):
        caveats.append(f"no grain angle: {run.reason}")
    if not ends:
        caveats.append("no ring angle and no ring spacing: there is no photo of an end")
    angle = _average([measure_ring_angle(end) for end in ends], caveats, "no ring angle from one end")
    spacing = _average([measure_ring_spacing(end) for end in ends], caveats, "no ring spacing from one end")
    colours = [picture.mean_lab() for picture in broad]
    mean = tuple(float(value) for value in np.mean(colours, axis=0)) if colours else None
    return Grain(
        angle_deg=None if isinstance(run, NotFound) else run[0],
        straightness=None if isinstance(run, NotFound) else run[1],
        run_out_deg=_find_run_out(broad, pith, caveats),
        ring_spacing_mm=spacing,
        ring_angle_deg=angle,
        sawn=None if angle is None else name_cut(angle, bands),
        colour_lab=None if mean is None else (mean[0], mean[1], mean[2]),
        caveats=tuple(caveats),
    )


def _find_run_out(broad: Sequence[Picture], pith: Pith | None, caveats: list[str]) -> Measured | None:
    if not broad or pith is None:
        return None
    found = find_run_out(pith, broad[0].width_mm)
    if isinstance(found, NotFound):
        caveats.append(f"no run-out: {found.reason}")
        return None
    return found


def _average(found: list[Measured | NotFound], caveats: list[str], what: str) -> float | None:
    values = [item.value for item in found if isinstance(item, Measured)]
    caveats.extend(f"{what}: {item.reason}" for item in found if isinstance(item, NotFound))
    return float(np.mean(values)) if values else None
