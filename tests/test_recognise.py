"""A leaf's photos show the leaf that they are said to show, or the maker is told."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pytest

from grainplan.boards import Leaf
from grainplan.errors import NotFound
from grainplan.match.leaforder import Meeting, Met, Pile, weigh_orders
from grainplan.match.recognise import KnownSurface, LeafPhotos, Recognition, recognise_all, recognise_leaf
from grainplan.picture import Picture
from tests.drawn.leaves import DrawnJob, saw_job

A2, B1 = Leaf("A", 2), Leaf("B", 1)


@pytest.fixture(scope="module")
def job() -> DrawnJob:
    return saw_job(7, boards=2, length_mm=500.0)


def recognise(job: DrawnJob, photos: LeafPhotos, *, without: Leaf) -> Recognition:
    """Against the rough boards and the photos of all leaves but one."""
    others = [
        KnownSurface(leaf.board, job.depths_mm[leaf, surface], picture)
        for leaf, pictures in job.photos.items()
        if leaf != without
        for surface, picture in pictures.items()
    ]
    found = recognise_leaf(photos, job.depths_mm, (*job.known, *others))
    assert isinstance(found, Recognition)
    return found


def test_leaves_that_are_what_they_are_said_to_be_pass_without_a_word(job: DrawnJob) -> None:
    found = recognise_all([job.show(leaf) for leaf in job.photos], job.depths_mm, job.known)
    assert len(found) == 6
    for recognised in found:
        assert isinstance(recognised, Recognition)
        assert recognised.agrees
        assert recognised.caveats == ()


def test_a_leaf_of_another_board_is_told(job: DrawnJob) -> None:
    found = recognise(job, job.show(A2, said=B1), without=A2)
    assert (found.best, found.agrees) == (A2, False)
    assert found.caveats[0] == "the photos said to be of leaf B1 look like board A; look at its marks"


def test_a_neighbouring_leaf_is_told(job: DrawnJob) -> None:
    found = recognise(job, job.show(A2, said=Leaf("A", 3)), without=A2)
    assert found.best == A2
    assert found.caveats == ("the photos said to be of leaf A3 look like leaf A2; look at its marks",)


def test_leaves_that_have_all_changed_names_are_told_apart_together(job: DrawnJob) -> None:
    """No name of a board is right, so nobody may lean on the others' names."""
    says = {Leaf("A", 1): A2, A2: Leaf("A", 3), Leaf("A", 3): Leaf("A", 1)}
    found = recognise_all([job.show(leaf, said=says.get(leaf)) for leaf in job.photos], job.depths_mm, job.known)
    for leaf, recognised in zip(job.photos, found, strict=True):
        assert isinstance(recognised, Recognition)
        assert recognised.best == leaf
        assert bool(recognised.caveats) == (leaf in says)


def draw_meetings(depths_mm: Sequence[float], *, sides_mm: Sequence[float], fade: float) -> tuple[Meeting, ...]:
    """One photo a leaf, against the board's sides and each other, fading evenly with distance; lines move 1 mm a mm."""

    def meet(photo: int, against: float, apart_mm: float) -> Meeting:
        return Meeting(photo, against, (Met(0.7 * (1 - fade * (1 - np.exp(-abs(apart_mm) / 15))), apart_mm),))

    photos = range(len(depths_mm))
    sides = [meet(photo, side, depths_mm[photo] - side) for photo in photos for side in sides_mm]
    return (*sides, *(meet(i, j, depths_mm[i] - depths_mm[j]) for i, j in combinations(photos, 2)))


@pytest.mark.parametrize("count", [4, 8])
def test_a_pile_in_disorder_is_put_in_order(count: int) -> None:
    """Few leaves by all orders, many by exchanges."""
    leaves = 3.0 + 6.0 * np.arange(count)
    truth = tuple(np.random.default_rng(5).permutation(count).tolist())
    meetings = draw_meetings(leaves[list(truth)].tolist(), sides_mm=(0.0, leaves[-1] + 3.0), fade=0.5)
    orders, likely = weigh_orders(Pile(np.arange(count), np.tile(leaves, (count, 1)), meetings), tuple(range(count)))
    assert orders[0] == truth
    assert likely[0] > 0.9
    assert all(len(set(order)) == count for order in orders)


def test_where_another_order_explains_the_photos_as_well_none_is_sure() -> None:
    """Leaves known by each other alone may as well lie the other way up; then the names stand, and nobody is sure."""
    leaves = np.array([3.0, 12.0, 21.0])
    meetings = draw_meetings(leaves.tolist(), sides_mm=(), fade=0.5)
    for said in ((0, 1, 2), (2, 1, 0)):
        orders, likely = weigh_orders(Pile(np.arange(3), np.tile(leaves, (3, 1)), meetings), said)
        assert orders[0] == said
        assert likely[:2] == pytest.approx([0.5, 0.5], abs=0.05)


@pytest.mark.parametrize(
    ("rows", "columns", "swap", "words"),
    [
        (-1, -1, False, "turned end for end"),
        (-1, 1, True, "of its other surface"),
        (1, -1, True, "of its other surface and turned end for end"),
    ],
)
def test_photos_that_lie_the_wrong_way_are_told(
    job: DrawnJob, rows: int, columns: int, words: str, *, swap: bool
) -> None:
    turned = {s: Picture(p.pixels[::rows, ::columns].copy(), p.px_per_mm) for s, p in job.photos[B1].items()}
    if swap:
        turned = {"near": turned["far"], "far": turned["near"]}
    found = recognise(job, LeafPhotos(B1, turned), without=B1)
    assert found.best == B1
    assert not found.agrees
    assert found.caveats == (f"the photos of leaf B1 seem to be {words}",)


def test_one_surface_is_enough_for_the_board(job: DrawnJob) -> None:
    found = recognise(job, LeafPhotos(A2, {"far": job.photos[A2]["far"]}), without=A2)
    assert found.best.board == "A"
    assert sum(found.share.values()) == pytest.approx(1.0)


def test_what_was_foretold_with_little_trust_tells_the_leaf_as_well() -> None:
    """The middle of a board is foretold with less trust than what lies near its sides; photos fit it no worse for that.

    The figures are about those of drawn boards: a photo fits what was foretold at its own depth by 0.6, 10 mm from
    there by 0.5.
    """
    depths = np.array([3.0, 12.6, 22.0])
    for own in range(3):
        fits = [0.6 if place == own else 0.5 for place in range(3)]
        meetings = tuple(
            Meeting(0, depth, (Met(fit, 0.0),), foretold=True) for depth, fit in zip(depths.tolist(), fits, strict=True)
        )
        orders, _ = weigh_orders(Pile(np.array([0]), depths[None], meetings), (1,))
        assert orders[0] == (own,)


def test_wood_of_no_board_and_nothing_to_compare(job: DrawnJob) -> None:
    noise = np.random.default_rng(3).integers(90, 160, (160, 500, 3)).astype(np.uint8)
    found = recognise(job, LeafPhotos(A2, {"near": Picture(noise, 1.0)}), without=A2)
    assert "look like nothing that was seen" in found.caveats[-1]
    assert isinstance(recognise_leaf(LeafPhotos(A2, {}), job.depths_mm, job.known), NotFound)
    assert isinstance(recognise_leaf(job.show(A2), job.depths_mm, ()), NotFound)
    assert isinstance(recognise_leaf(job.show(A2), {}, job.known), NotFound)
