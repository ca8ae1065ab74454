"""What the machines will not take: each limit of the shop held against a piece as it meets that machine.

The limits are the maker's, from the machines' manuals, which govern; so do local codes. Every sentence begins with the
number that was seen, so that the piece's name goes before it.
"""

from __future__ import annotations

from grainplan.shop import Shop
from grainplan.units import Units, format_length

_NEARLY_MM = 1e-6


def tell_short_crosscut(length_mm: float, shop: Shop, *, units: Units) -> tuple[str, ...]:
    """A piece that would be shorter than the saw may crosscut; nothing where it may."""
    if length_mm >= shop.shortest_crosscut_mm - _NEARLY_MM:
        return ()
    length, limit = (format_length(v, units) for v in (length_mm, shop.shortest_crosscut_mm))
    return (f"{length} long, nothing under {limit} is crosscut at the saw: saw it by hand",)


def tell_short_rip(length_mm: float, shop: Shop, *, units: Units) -> tuple[str, ...]:
    """A piece that is too short to be ripped as it meets the saw."""
    if length_mm >= shop.shortest_ripped_mm - _NEARLY_MM:
        return ()
    length, limit = (format_length(v, units) for v in (length_mm, shop.shortest_ripped_mm))
    return (
        f"{length} long, nothing under {limit} is ripped at the saw: rip it while the leaf is long, before it is "
        "crosscut, or on the bandsaw or by hand",
    )


def tell_narrow_rip(width_mm: float, shop: Shop, *, units: Units) -> tuple[str, ...]:
    """A strip that is narrower than the saw may rip."""
    if width_mm >= shop.narrowest_ripped_mm - _NEARLY_MM:
        return ()
    width, limit = (format_length(v, units) for v in (width_mm, shop.narrowest_ripped_mm))
    return (f"{width} wide, nothing under {limit} is ripped at the saw: take the bandsaw, or fewer strips a panel",)


def tell_short_leaf(length_mm: float, shop: Shop, *, units: Units) -> tuple[str, ...]:
    """A leaf that is too short for the planer."""
    if length_mm >= shop.shortest_planed_mm - _NEARLY_MM:
        return ()
    length, limit = (format_length(v, units) for v in (length_mm, shop.shortest_planed_mm))
    return (f"{length} long, the planer takes {limit} at the least: thickness it by hand or with a drum sander",)


def tell_short_strip(length_mm: float, shop: Shop, *, units: Units) -> tuple[str, ...]:
    """A strip that is too short for the planer once it is free of its leaf."""
    if length_mm >= shop.shortest_planed_mm - _NEARLY_MM:
        return ()
    length, limit = (format_length(v, units) for v in (length_mm, shop.shortest_planed_mm))
    return (
        f"{length} long, the planer takes {limit} at the least: thickness it while it is part of its leaf, true its "
        "edges by hand",
    )


def tell_thin_leaf(thickness_mm: float, shop: Shop, *, units: Units) -> tuple[str, ...]:
    """A leaf that is planed thinner than the planer may."""
    if thickness_mm >= shop.thinnest_planed_mm - _NEARLY_MM:
        return ()
    thickness, limit = (format_length(v, units) for v in (thickness_mm, shop.thinnest_planed_mm))
    return (
        f"{thickness} thick, the planer takes {limit} at the least: use a drum sander, or a carrier board if the "
        "manual allows one",
    )
