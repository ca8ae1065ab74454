"""Bays that are alike in every respect are one type: two equal doors need not be told apart while leaves are chosen."""

from __future__ import annotations

from dataclasses import dataclass

from grainplan.errors import NotFound
from grainplan.frame import Bay, BaySize
from grainplan.job import Keep
from grainplan.match.cuts import BayCut, lay_out_bay
from grainplan.match.request import Request


@dataclass(frozen=True, slots=True)
class BayType:
    """One or more bays with the same sizes, the same weight and the same wishes.

    Attributes
    ----------
    bays : names, in the job's order.
    bay, size, cut : of the first of them.
    boards : indices of the boards that they may be cut from.
    partners : mirrored pairs among them.
    kept : what the maker fixed, for a bay that stays as it is.
    """

    bays: tuple[str, ...]
    bay: Bay
    size: BaySize
    cut: BayCut
    boards: tuple[int, ...]
    partners: tuple[tuple[str, str], ...] = ()
    kept: Keep | None = None


@dataclass(frozen=True, slots=True)
class BayTypes:
    """The types of a job, and the bays that cannot be laid on a leaf at all, with the reason."""

    types: tuple[BayType, ...]
    impossible: dict[str, str]

    def type_of(self, bay: str) -> int | None:
        """Index of the type that a bay belongs to."""
        return next((i for i, kind in enumerate(self.types) if bay in kind.bays), None)


def group_bays(request: Request) -> BayTypes:
    """Sort the bays that are to be filled into types.

    Mirrored pairs of equal bays stay in one type; a mirror between unequal bays only asks for like boards.
    """
    kept = {keep.bay for keep in request.kept}
    partner = _find_partners(request.bays)
    found: dict[tuple[object, ...], list[Bay]] = {}
    cuts: dict[str, BayCut] = {}
    impossible: dict[str, str] = {}
    for bay in request.bays:
        if bay.done and bay.name not in kept:
            continue
        cut = lay_out_bay(bay, request.sizes[bay.name], request.making, request.shop)
        if isinstance(cut, NotFound):
            impossible[bay.name] = cut.reason
            continue
        cuts[bay.name] = cut
        alone = bay.name if bay.name in kept else ""
        found.setdefault((*_describe(request, bay, partner), alone), []).append(bay)
    types = tuple(_make_type(request, bays, cuts[bays[0].name], partner) for bays in found.values())
    return BayTypes(types, impossible)


def find_alike_groups(request: Request, types: BayTypes) -> list[tuple[str, ...]]:
    """Bays that are to look alike: those of one word, and mirrored pairs that are not equal in size."""
    words: dict[str, list[str]] = {}
    for bay in request.bays:
        if bay.alike is not None:
            words.setdefault(bay.alike, []).append(bay.name)
    groups = [tuple(names) for names in words.values() if len(names) > 1]
    partner = _find_partners(request.bays)
    for name, other in partner.items():
        if name < other and types.type_of(name) != types.type_of(other):
            groups.append((name, other))
    return groups


def _find_partners(bays: tuple[Bay, ...]) -> dict[str, str]:
    partner: dict[str, str] = {}
    for bay in bays:
        if bay.mirror is not None and bay.name not in partner and bay.mirror not in partner:
            partner[bay.name] = bay.mirror
            partner[bay.mirror] = bay.name
    return partner


def _look_of(request: Request, bay: Bay) -> tuple[object, ...]:
    size = request.sizes[bay.name]
    return (tuple(size.panels.items()), bay.rail_mm, bay.matters, bay.seen, bay.is_end_matched(request.making))


def _boards_for(request: Request, bay: Bay) -> tuple[int, ...]:
    out = {wish.board for wish in request.left_out if wish.bay in (None, bay.name)}
    return tuple(i for i, board in enumerate(request.boards) if board.name not in out and board.name in request.uses)


def _describe(request: Request, bay: Bay, partner: dict[str, str]) -> tuple[object, ...]:
    mate = next((other for other in request.bays if other.name == partner.get(bay.name)), None)
    equal = mate is not None and _look_of(request, mate) == _look_of(request, bay)
    return (_look_of(request, bay), bay.alike, _boards_for(request, bay), "pair" if equal else bay.name if mate else "")


def _make_type(request: Request, bays: list[Bay], cut: BayCut, partner: dict[str, str]) -> BayType:
    names = tuple(bay.name for bay in bays)
    partners = tuple(
        (name, partner[name])
        for name in names
        if partner.get(name) in names and names.index(name) < names.index(partner[name])
    )
    kept = next((keep for keep in request.kept if keep.bay in names), None)
    first = bays[0]
    return BayType(names, first, request.sizes[first.name], cut, _boards_for(request, first), partners, kept)
