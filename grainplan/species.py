"""Published shrinkage and movement coefficients by species, and a maker's own."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType

from grainplan.errors import NotFound

FIBRE_SATURATION_PERCENT = 30.0
"""Moisture at which most woods start to shrink (Wood Handbook, 2010, eq. 13-3)."""


@dataclass(frozen=True, slots=True)
class Species:
    """How much a wood shrinks and moves.

    Parameters
    ----------
    name : str
        As makers say it: "white ash".
    radial_percent, tangential_percent : float or None
        Shrinkage, green to oven-dry.
    radial_coefficient, tangential_coefficient : float
        Change per unit of width and per cent of moisture, within 6 to 14 per cent moisture.
    source : str
        Where the numbers are from.
    aliases : tuple of str
        Other names that makers use for it.
    shrinks_from_percent : float
        Moisture at which shrinkage starts.

    Raises
    ------
    ValueError
        When a coefficient is not a small positive number.
    """

    name: str
    radial_percent: float | None
    tangential_percent: float | None
    radial_coefficient: float
    tangential_coefficient: float
    source: str
    aliases: tuple[str, ...] = ()
    shrinks_from_percent: float = FIBRE_SATURATION_PERCENT

    def __post_init__(self) -> None:
        for what in ("radial_coefficient", "tangential_coefficient"):
            if not 0 < getattr(self, what) < 0.01:
                raise ValueError(f"{self.name}: {what} must lie between 0 and 0.01, got {getattr(self, what)}")


def coefficient_from_shrinkage(
    shrinkage_percent: float, *, shrinks_from_percent: float = FIBRE_SATURATION_PERCENT
) -> float:
    """The coefficient of dimensional change that a shrinkage from green to oven-dry implies.

    Parameters
    ----------
    shrinkage_percent : float
        Green to oven-dry, above 0 and at most 25.
    shrinks_from_percent : float
        Moisture at which shrinkage starts, per cent.

    Returns
    -------
    float
        Change per unit of the width at 10 per cent moisture, for each per cent of moisture.

    Raises
    ------
    ValueError
        When no wood shrinks so.

    Notes
    -----
    ``C = 1 / (100 F / S - F + 10)``: the straight line of Wood Handbook (2010) eq. 13-3 taken at 10 per cent moisture.
    It gives the printed coefficients of Table 13-5 back to five decimals, but for the woods named in `species.toml`.
    """
    if not 0 < shrinkage_percent <= 25:
        raise ValueError(
            f"shrinkage from green to oven-dry is above 0 and at most 25 per cent, got {shrinkage_percent:g}"
        )
    return 1.0 / (100.0 * shrinks_from_percent / shrinkage_percent - shrinks_from_percent + 10.0)


def make_own_species(name: str, radial_percent: float, *, tangential_percent: float) -> Species:
    """A wood of the maker's own numbers, where the table has none or they know theirs better.

    Raises
    ------
    ValueError
        When a shrinkage is not above 0 and at most 25 per cent.
    """
    return Species(
        name=name,
        radial_percent=radial_percent,
        tangential_percent=tangential_percent,
        radial_coefficient=coefficient_from_shrinkage(radial_percent),
        tangential_coefficient=coefficient_from_shrinkage(tangential_percent),
        source="the job file's own shrinkage",
    )


@cache
def load_species() -> Mapping[str, Species]:
    """The species table, by name, in the order of `species.toml`. It is read once and cannot be changed."""
    read = tomllib.loads(files("grainplan").joinpath("species.toml").read_text(encoding="utf-8"))
    table: dict[str, Species] = {}
    for wood in read["wood"]:
        shrinkage, coefficient = wood.get("shrinkage", {}), wood["coefficient"]
        sources = ["coefficients: " + coefficient["source"]]
        if shrinkage:
            sources.append("shrinkage: " + shrinkage["source"])
        table[wood["name"]] = Species(
            name=wood["name"],
            radial_percent=shrinkage.get("radial"),
            tangential_percent=shrinkage.get("tangential"),
            radial_coefficient=coefficient["radial"],
            tangential_coefficient=coefficient["tangential"],
            source="; ".join(sources),
            aliases=tuple(wood["aliases"]),
            shrinks_from_percent=shrinkage.get("starts", FIBRE_SATURATION_PERCENT),
        )
    return MappingProxyType(table)


def find_species(name: str) -> Species | NotFound:
    """The species that a maker means.

    Parameters
    ----------
    name : str
        A name of the table or one that makers use for it ("ash" for white ash); case and spaces do not matter.

    Returns
    -------
    Species or NotFound
        The reason names the likely words, and the way out: the job's own shrinkage.
    """
    asked = _fold(name)
    table = load_species()
    by_name = {_fold(n): wood for wood in table.values() for n in (wood.name, *wood.aliases)}
    if asked in by_name:
        return by_name[asked]
    alike = [wood.name for wood in table.values() if asked and any(w.endswith(asked) for w in _fold(wood.name).split())]
    if len(alike) > 1:
        return NotFound(f'"{name}" may be {_any_of(alike)}, which move differently; write which one it is')
    close = alike or [by_name[n].name for n in difflib.get_close_matches(asked, by_name, n=1, cutoff=0.75)]
    hint = f"did you mean {_any_of(close)}?" if close else "the table has " + ", ".join(table) + "."
    return NotFound(
        f'"{name}" is not in the species table; {hint} For another wood give its own numbers: '
        "shrinkage = { radial = 4.9, tangential = 7.8 }, in per cent from green to oven-dry"
    )


def tell_alias(written: str, species: Species) -> str | None:
    """A sentence that says what a maker's word was taken for, or None where it is the table's own name."""
    if _fold(written) == _fold(species.name):
        return None
    return f'"{written}" is taken as {species.name}; write another species, or its own shrinkage, if it is not'


def _fold(name: str) -> str:
    return " ".join(name.casefold().replace("-", " ").replace(",", " ").split())


def _any_of(names: list[str]) -> str:
    quoted = [f'"{n}"' for n in names]
    return quoted[0] if len(quoted) == 1 else ", ".join(quoted[:-1]) + " or " + quoted[-1]
