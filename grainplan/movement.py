"""Moisture and movement: what the air does to wood, and the room that a panel needs in its grooves."""

from __future__ import annotations

import math
from dataclasses import dataclass

from grainplan.errors import GrainplanError
from grainplan.frame import Bay, BaySize, PanelMaking, PanelSize
from grainplan.shop import Climate, Room, Shop
from grainplan.species import Species, coefficient_from_shrinkage
from grainplan.units import MM_PER_INCH, format_both

LEAST_FLOAT_MM = MM_PER_INCH / 4
LEAST_ENGAGEMENT_MM = MM_PER_INCH / 8
GROWTH_RESERVE = 1.1
"""A single board may move more than the table says; common practice leaves a tenth more."""

_STRAIGHT_FROM, _STRAIGHT_TO = 6.0, 14.0
_PRINTED_TO = 0.00001
_DAMPEST_KNOWN_PERCENT = 95.0
_CAVEAT_SPREAD = "movement from table values; one board may move 5 per cent and more beside them"
_CAVEAT_ANGLE = "between plain and quarter sawn the two coefficients are mixed by the ring angle (common practice)"


@dataclass(frozen=True, slots=True)
class Wood:
    """What moves: a species, how moist it is now, and how its rings lie.

    Parameters
    ----------
    species : Species
    moisture_percent : float
        As the boards are now, 0 to 30.
    ring_angle_deg : float or None
        Between rings and face, 0 flat to 90 quarter; None: not known, the larger (tangential) movement is taken.
    """

    species: Species
    moisture_percent: float
    ring_angle_deg: float | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.moisture_percent <= 30:
            raise ValueError(
                f"moisture is 0 to 30 per cent, got {self.moisture_percent:g}; wetter wood has not begun to move"
            )


@dataclass(frozen=True, slots=True)
class Movement:
    """How a width changes from one moisture to another.

    Parameters
    ----------
    moisture_from, moisture_to : float
        Per cent.
    change_mm : float
        Positive: it grows.
    coefficient : float
        Change per unit of width and per cent of moisture that was taken.
    """

    moisture_from: float
    moisture_to: float
    change_mm: float
    coefficient: float
    caveats: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class YearOfPanel:
    """How a panel moves between the driest and the dampest room, and what stays of its room in the grooves.

    Parameters
    ----------
    moisture_driest, moisture_dampest : float
        What the wood comes to in either room, per cent.
    shrinks_mm, grows_mm : float
        From its width as made, both zero or more.
    float_mm : float
        Total room across the grain, as made.
    room_dampest_mm : float
        Of it, what is left in the dampest room; negative: the panel pushes the stiles apart.
    engagement_driest_mm : float
        How deep each side still lies in its groove in the driest room, pinned at its middle.
    """

    moisture_driest: float
    moisture_dampest: float
    shrinks_mm: float
    grows_mm: float
    float_mm: float
    room_dampest_mm: float
    engagement_driest_mm: float


def find_moisture_in_air(temperature_c: float, humidity_percent: float) -> float:
    """The moisture that wood comes to after weeks in this air (equilibrium moisture content), per cent.

    Parameters
    ----------
    temperature_c : float
        −40 to 60 °C; checked against the table from −1 to 49 °C.
    humidity_percent : float
        Relative humidity, above 0 and at most 95: the formula does not hold near 100.

    Raises
    ------
    ValueError
        Outside these ranges.

    Notes
    -----
    Wood Handbook (2010), eq. 4-5, with the coefficients for degrees Celsius of W. T. Simpson, FPL-RN-0268 (1998).
    Within 0.06 of the cells of Table 4-2.
    """
    if not -40 <= temperature_c <= 60:
        raise ValueError(f"the formula holds from −40 to 60 °C, got {temperature_c:g} °C")
    if not 0 < humidity_percent <= _DAMPEST_KNOWN_PERCENT:
        raise ValueError(
            f"relative humidity is above 0 and, for this formula, at most 95 per cent, got {humidity_percent:g}"
        )
    t, h = temperature_c, humidity_percent / 100
    W = 349 + 1.29 * t + 0.0135 * t**2
    K = 0.805 + 0.000736 * t - 0.00000273 * t**2
    K1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    K2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    first, second = K1 * K * h, K1 * K2 * (K * h) ** 2
    return 1800 / W * (K * h / (1 - K * h) + (first + 2 * second) / (1 + first + second))


def read_cut(written: str) -> float:
    """Ring angle in degrees of how a board is cut: "plain" 0, "quarter" 90, "rift" 45, or the degrees themselves.

    Raises
    ------
    ValueError
        With a sentence for the maker.
    """
    names = {"plain": 0.0, "rift": 45.0, "quarter": 90.0}
    word = written.strip().casefold()
    if word in names:
        return names[word]
    try:
        angle = float(word.removesuffix("°").removesuffix("deg").strip())
    except ValueError:
        angle = math.nan
    if not 0 <= angle <= 90:
        raise ValueError(
            f'"{written}" is no way to cut a board; write plain, rift, quarter, or the degrees between rings and '
            "face, 0 to 90"
        )
    return angle


def coefficient_at(species: Species, ring_angle_deg: float | None) -> float:
    """Change per unit of width and per cent of moisture across a board whose rings lie at this angle to its face.

    Parameters
    ----------
    species : Species
    ring_angle_deg : float or None
        0 (flat: tangential) to 90 (quarter: radial); None takes the tangential one, the larger.

    Raises
    ------
    ValueError
        When the angle lies outside 0 to 90.

    Notes
    -----
    ``C(θ) = CT cos² θ + CR sin² θ``: derived (strain turned by an angle, shear left out), common practice.
    """
    if ring_angle_deg is None:
        return species.tangential_coefficient
    if not 0 <= ring_angle_deg <= 90:
        raise ValueError(f"a ring angle lies between 0 and 90 degrees, got {ring_angle_deg:g}")
    theta = math.radians(ring_angle_deg)
    return species.tangential_coefficient * math.cos(theta) ** 2 + species.radial_coefficient * math.sin(theta) ** 2


def work_out_movement(width_mm: float, wood: Wood, *, moisture_to: float) -> Movement:
    """How much a width across the grain changes when its moisture goes to `moisture_to`.

    Parameters
    ----------
    width_mm : float
        Width at the wood's own moisture, mm; greater than 0.
    wood : Wood
    moisture_to : float
        Per cent, 0 to 30.

    Raises
    ------
    ValueError
        When the width or the moisture is outside its range.

    Notes
    -----
    Both moistures within 6 to 14 per cent: Wood Handbook (2010), eq. 13-2, ``ΔD = D C (M_to − M_from)``. Otherwise
    eq. 13-3, ``ΔD = D (M_to − M_from) / (100 F / S − F + M_from)``, with the shrinkage S that belongs to the
    coefficient; above F, where shrinkage starts, nothing moves.
    """
    if not width_mm > 0 or not math.isfinite(width_mm):
        raise ValueError(f"a width must be greater than 0, got {width_mm}")
    if not 0 <= moisture_to <= 30:
        raise ValueError(f"moisture is 0 to 30 per cent, got {moisture_to:g}")
    coefficient = coefficient_at(wood.species, wood.ring_angle_deg)
    before, after = wood.moisture_percent, moisture_to
    if all(_STRAIGHT_FROM <= m <= _STRAIGHT_TO for m in (before, after)):
        change = width_mm * coefficient * (after - before)
    else:
        start = wood.species.shrinks_from_percent
        low, high = min(before, start), min(after, start)
        shrinkage = _shrinkage_at(wood.species, wood.ring_angle_deg)
        change = width_mm * (high - low) / (100 * start / shrinkage - start + low)
    mixed = wood.ring_angle_deg is not None and 0 < wood.ring_angle_deg < 90
    return Movement(before, after, change, coefficient, (_CAVEAT_SPREAD, *([_CAVEAT_ANGLE] if mixed else [])))


def find_room_moistures(climate: Climate) -> tuple[float, float]:
    """What wood comes to in the driest and in the dampest room, per cent, in this order."""
    return _moisture_in(climate.driest), _moisture_in(climate.dampest)


def follow_year(width_mm: float, wood: Wood, *, climate: Climate, float_mm: float, groove_mm: float) -> YearOfPanel:
    """How a finished panel of this width moves over the year in its two grooves.

    Parameters
    ----------
    width_mm : float
        Finished width, mm.
    wood : Wood
        As it is now, when the panel is made.
    climate : Climate
    float_mm, groove_mm : float
        Total room across the grain, and the depth of each groove.
    """
    driest, dampest = find_room_moistures(climate)
    changes = [work_out_movement(width_mm, wood, moisture_to=min(30.0, m)).change_mm for m in (driest, dampest)]
    shrinks, grows = max(0.0, *(-c for c in changes)), max(0.0, *changes)
    return YearOfPanel(
        moisture_driest=driest,
        moisture_dampest=dampest,
        shrinks_mm=shrinks,
        grows_mm=grows,
        float_mm=float_mm,
        room_dampest_mm=float_mm - grows,
        engagement_driest_mm=groove_mm - float_mm / 2 - shrinks / 2,
    )


def size_panels(bay: Bay, making: PanelMaking, *, shop: Shop, climate: Climate, wood: Wood) -> BaySize:
    """From the sight sizes of a bay to its panels: finished, with room to move, and rough, as they are glued up.

    Parameters
    ----------
    bay : Bay
    making : PanelMaking
        With `float_mm` None, the room across the grain is the larger of 1/4 in and 1.1 × the growth to the dampest
        room.
    shop : Shop
        For the over-length and over-width.
    climate : Climate
    wood : Wood
        Of the board that is in question, or of the job's wood while none is chosen.

    Raises
    ------
    GrainplanError
        When the panel would hardly be held in its grooves in the driest room (under 1/8 in a side).

    Notes
    -----
    At least 1/8 in stays in each groove: common practice. Grain runs upright, and along it wood is taken not to move.
    """
    full_width = bay.width_mm + 2 * making.groove_mm
    float_mm = _auto_float(full_width, wood, climate) if making.float_mm is None else making.float_mm
    width = full_width - float_mm
    if not width > bay.width_mm:
        raise GrainplanError(_explain_hold(bay, making, float_mm, making.groove_mm - float_mm / 2))
    year = follow_year(width, wood, climate=climate, float_mm=float_mm, groove_mm=making.groove_mm)
    if year.engagement_driest_mm < LEAST_ENGAGEMENT_MM - 1e-9:
        raise GrainplanError(_explain_hold(bay, making, float_mm, year.engagement_driest_mm))
    end_engagement = making.groove_mm - making.end_gap_mm
    panels = {
        part: PanelSize(
            sight_width_mm=bay.width_mm,
            sight_height_mm=sight,
            width_mm=width,
            height_mm=sight + 2 * end_engagement,
            rough_width_mm=width + 2 * shop.over_width_mm,
            rough_height_mm=sight + 2 * end_engagement + 2 * shop.over_length_mm,
            side_engagement_mm=making.groove_mm - float_mm / 2,
            end_engagement_mm=end_engagement,
        )
        for part, sight in bay.sight_heights_mm.items()
    }
    return BaySize(bay.name, panels, float_mm, _warn_of_room(bay, making, year, wood))


def size_strip(rough_width_mm: float, strips: int, *, joint_mm: float) -> float:
    """Width of each of n equal strips as it is ripped from its leaf, mm: what the glued edges lose is in.

    Raises
    ------
    ValueError
        When there are not 1 or more strips.
    """
    if strips < 1:
        raise ValueError(f"a panel has 1 or more strips, got {strips}")
    return (rough_width_mm + joint_mm * 2 * (strips - 1)) / strips


def _shrinkage_at(species: Species, ring_angle_deg: float | None) -> float:
    """Shrinkage from green to oven-dry, per cent, at a ring angle, mixed as the coefficients are."""
    start = species.shrinks_from_percent
    tangential = _belonging(species.tangential_percent, species.tangential_coefficient, start)
    radial = _belonging(species.radial_percent, species.radial_coefficient, start)
    theta = math.radians(ring_angle_deg or 0.0)
    return tangential * math.cos(theta) ** 2 + radial * math.sin(theta) ** 2


def _belonging(percent: float | None, coefficient: float, start: float) -> float:
    """The printed shrinkage where it gives the coefficient, else the one that the coefficient implies.

    For a few woods the handbook's two tables rest on different data, or the coefficient is that of a group.
    """
    if percent is not None:
        derived = coefficient_from_shrinkage(percent, shrinks_from_percent=start)
        if abs(derived - coefficient) <= _PRINTED_TO:
            return percent
    return 100 * start / (1 / coefficient - 10 + start)


def _moisture_in(room: Room) -> float:
    return find_moisture_in_air(room.temperature_c, room.humidity_percent)


def _auto_float(full_width_mm: float, wood: Wood, climate: Climate) -> float:
    """The room whose panel, narrower by it, grows by that room over 1.1: movement is in proportion to the width."""
    dampest = min(30.0, find_room_moistures(climate)[1])
    growth = work_out_movement(full_width_mm, wood, moisture_to=dampest).change_mm
    share = max(0.0, GROWTH_RESERVE * growth / full_width_mm)
    return max(LEAST_FLOAT_MM, share * full_width_mm / (1 + share))


def _explain_hold(bay: Bay, making: PanelMaking, float_mm: float, left_mm: float) -> str:
    step = MM_PER_INCH / 32
    deeper = math.ceil((making.groove_mm + LEAST_ENGAGEMENT_MM - left_mm) / step + 0.1) * step
    return (
        f"bay {bay.name}: a panel {format_both(bay.width_mm)} wide between its stiles needs {format_both(float_mm)} of "
        f"room across the grain, and in the driest room each side would lie only {format_both(max(0.0, left_mm))} deep "
        f"in its groove ({format_both(LEAST_ENGAGEMENT_MM)} is the least); make the groove {format_both(deeper)} deep "
        "or the bay narrower, or use quartered wood"
    )


def _warn_of_room(bay: Bay, making: PanelMaking, year: YearOfPanel, wood: Wood) -> tuple[str, ...]:
    caveats = []
    if making.float_mm is not None and year.room_dampest_mm < 0:
        caveats.append(
            f"bay {bay.name}: the panel grows {format_both(year.grows_mm)} to the dampest room, more than the float of "
            f"{format_both(making.float_mm)}: it will push the stiles apart"
        )
    if wood.ring_angle_deg is None:
        caveats.append(
            f"bay {bay.name}: room to move is worked out as for plain-sawn wood, the ring angle being unknown"
        )
    return tuple(caveats)
