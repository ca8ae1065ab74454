"""What is known of the surfaces of all leaves: photographed, foretold from the rough board, or only guessed.

Once leaves are photographed it is told how far their prediction was from the truth, whether a photo shows the leaf that
it names, and the rest of the board is foretold anew from what is now known of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from grainplan.aftersaw import SawnLeaf
from grainplan.boards import BROAD_SIDES, Leaf, MeasuredBoard, Surface
from grainplan.errors import NotFound
from grainplan.inside import Foreseen, InsideQuestion, foresee_all
from grainplan.job import Job
from grainplan.match.recognise import KnownSurface, LeafPhotos, recognise_all
from grainplan.match.surfaces import LeafSurface, SurfaceKey, Surfaces, gather_surfaces
from grainplan.picture import Picture
from grainplan.progress import Progress, ShouldStop, keep_quiet, never_stop, part_of
from grainplan.resaw import Resaw
from grainplan.units import Units, format_length
from grainplan.wood.foretold import Meeting, compare_foretold
from grainplan.wood.solid import TRUSTED, InsideView
from grainplan.wood.solid_slice import Level

INSIDE_FOLDER = "out/inside"
SURFACES: tuple[Surface, Surface] = ("near", "far")
HARDLY_PLANED_MM = 1.0
"""An outer surface that loses no more than this still shows what its photo shows."""
SAME_LEAF = 0.4
"""A photo that reaches no more than this part of the agreement that was told is perhaps of another leaf; nothing more
is foretold from it. Photos of other boards reach next to nothing."""

Depths = Mapping[SurfaceKey, float]
Resaws = Mapping[str, Resaw | NotFound]


@dataclass(frozen=True, slots=True, eq=False)
class Foretold:
    """A surface that was foretold before the saw and has been photographed since.

    Parameters
    ----------
    leaf, surface
        Which.
    view : InsideView
        As it was foretold from the rough board.
    real : Picture
        Its photo, in the frame of its board.
    meeting : Meeting
        How they agree.
    """

    leaf: Leaf
    surface: Surface
    view: InsideView
    real: Picture
    meeting: Meeting

    @property
    def is_same(self) -> bool:
        """Whether the photo can be of this leaf, by its rings."""
        return self.meeting.agreement >= SAME_LEAF * self.view.confidence

    def tell(self, units: Units) -> str:
        """How far the prediction was from the truth, beside what had been told of it."""
        found = self.meeting
        said = (
            f"leaf {self.leaf.name}, {self.surface}: the picture foretold before the saw agrees with the photo to "
            f"{found.agreement:.2f}; {self.view.confidence:.2f} had been told"
        )
        if found.shift_mm is not None:
            said += f"; its lines lie {format_length(found.shift_mm, units)} off on the mean"
        if not self.is_same:
            said += "; that is too little to foretell the rest of the board from this photo: is it of this leaf?"
        return said


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """What is known of all leaves.

    Parameters
    ----------
    surfaces : mapping of (leaf, surface) to LeafSurface
    sawn : tuple of SawnLeaf
        The leaves that the maker has reported.
    foretold : tuple of Foretold
        In the same order.
    views : mapping of (leaf, surface) to InsideView
        What was foretold from the rough boards alone.
    depths : mapping of (leaf, surface) to float
        Where each surface lies in its board, mm from the face side.
    insides : tuple of str
        What the pictures of the insides lack, or why a board has none.
    """

    surfaces: Surfaces
    sawn: tuple[SawnLeaf, ...] = ()
    foretold: tuple[Foretold, ...] = ()
    views: Mapping[SurfaceKey, InsideView] = field(default_factory=dict)
    depths: Depths = field(default_factory=dict)
    insides: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Looking:
    """How the insides are looked into: boards at once, who is told, who may stop it."""

    workers: int = 1
    progress: Progress = keep_quiet
    should_stop: ShouldStop = never_stop


def see_leaves(
    job: Job, boards: Sequence[MeasuredBoard], resaws: Resaws, *, sawn: tuple[SawnLeaf, ...], looking: Looking
) -> Sight:
    """The picture of every surface of every leaf: its own photo first, then what is foretold, then the outside.

    An outer surface from which much will be planed is foretold too: what its photo shows will be gone.
    """
    found = {board.name: resaw for board in boards if isinstance(resaw := resaws[board.name], Resaw)}
    asked = {name: _list_inside(resaw, name) for name, resaw in found.items()}

    def ask(questions: Sequence[InsideQuestion], share: tuple[float, float]) -> dict[str, Foreseen]:
        told, stop = part_of(looking.progress, *share), looking.should_stop
        folder = job.folder / INSIDE_FOLDER
        return foresee_all(questions, folder, workers=looking.workers, progress=told, should_stop=stop)

    seen = ask([InsideQuestion(b, tuple(asked[b.name].values())) for b in boards if asked.get(b.name)], (0.0, 0.8))
    views = _name_views(seen, asked)
    photos = {(leaf.leaf, surface): picture for leaf in sawn for surface, picture in leaf.pictures.items()}
    foretold = tuple(
        Foretold(*key, views[key], photo, compare_foretold(views[key].rings_alone, photo))
        for key, photo in photos.items()
        if key in views
    )
    levels = _gather_levels(foretold, asked)
    left = {
        name: {key: depth for key, depth in depths.items() if key not in photos}
        for name, depths in asked.items()
        if name in levels
    }
    again = [InsideQuestion(b, tuple(left[b.name].values()), levels[b.name]) for b in boards if left.get(b.name)]
    better = {**views, **_name_views(ask(again, (0.8, 1.0)) if again else {}, left)}
    known = {key: LeafSurface(v.picture, "inside", v.confidence, v.sure, v.rings_alone) for key, v in better.items()}
    known |= {key: LeafSurface(photo, "leaf photo") for key, photo in photos.items()}
    counts = {name: resaw.leaves for name, resaw in found.items()}
    surfaces = gather_surfaces({board.name: board for board in boards}, counts, better=known)
    return Sight(surfaces, sawn, foretold, views, _list_depths(found), _tell_insides(seen))


def _list_depths(found: Mapping[str, Resaw]) -> dict[SurfaceKey, float]:
    return {
        (Leaf(name, number + 1), surface): resaw.depth_mm(number + 1, surface)
        for name, resaw in found.items()
        for number in range(resaw.leaves)
        for surface in SURFACES
    }


def _tell_insides(seen: Mapping[str, Foreseen]) -> tuple[str, ...]:
    """A board's reason for having no inside pictures, or what is said of all of them alike."""
    told = []
    for name, views in seen.items():
        if isinstance(views, NotFound):
            told.append(f"board {name}: {views.reason}")
        elif views:
            common = [caveat for caveat in views[0].caveats if all(caveat in view.caveats for view in views)]
            told += [f"board {name}, inside: {caveat}" for caveat in common]
    return tuple(told)


def _list_inside(resaw: Resaw, name: str) -> dict[SurfaceKey, float]:
    """The surfaces of a board that no photo of the rough board shows, with their depth."""
    outer: set[SurfaceKey] = set()
    if resaw.outer_loss_mm <= HARDLY_PLANED_MM:
        outer = {(Leaf(name, 1), "near"), (Leaf(name, resaw.leaves), "far")}
    return {key: round(depth, 2) for key, depth in _list_depths({name: resaw}).items() if key not in outer}


def _name_views(seen: Mapping[str, Foreseen], asked: Mapping[str, Depths]) -> dict[SurfaceKey, InsideView]:
    return {
        key: view
        for name, views in seen.items()
        if not isinstance(views, NotFound)
        for key, view in zip(asked[name], views, strict=True)
    }


def _gather_levels(foretold: Sequence[Foretold], asked: Mapping[str, Depths]) -> dict[str, tuple[Level, ...]]:
    """By board, the real surfaces that the rest of it can be foretold from."""
    levels: dict[str, tuple[Level, ...]] = {}
    for one in foretold:
        if one.is_same:
            board = one.leaf.board
            level = Level(asked[board][one.leaf, one.surface], one.real)
            levels[board] = (*levels.get(board, ()), level)
    return levels


def tell_leaves(job: Job, boards: Sequence[MeasuredBoard], sight: Sight) -> tuple[str, ...]:
    """What the maker should know of the leaves that were photographed.

    How well each was foretold; and whether each photo shows the leaf that it names, by the sides of the rough boards,
    by what was foretold inside them, and by the photos of all other leaves.
    """
    told = [caveat for leaf in sight.sawn for caveat in leaf.caveats]
    told += [one.tell(job.units) for one in sight.foretold]
    photos = [LeafPhotos(leaf.leaf, leaf.pictures) for leaf in sight.sawn if leaf.pictures]
    named = [leaf for leaf in photos if all((leaf.leaf, surface) in sight.depths for surface in leaf.pictures)]
    if named:
        for found in recognise_all(named, sight.depths, _list_known(boards, sight)):
            told += [found.reason] if isinstance(found, NotFound) else list(found.caveats)
    return tuple(dict.fromkeys(told))


def _list_known(boards: Sequence[MeasuredBoard], sight: Sight) -> list[KnownSurface]:
    known = [
        KnownSurface(board.name, 0.0 if side == "face" else board.board.thickness_mm, board.sides[side].picture)
        for board in boards
        for side in BROAD_SIDES
        if side in board.sides
    ]
    return known + [
        KnownSurface(leaf.board, sight.depths[leaf, surface], view.rings_alone, view.confidence)
        for (leaf, surface), view in sight.views.items()
        if view.confidence >= TRUSTED
    ]
