"""Homographies against OpenCV's, areas against closed forms."""

import cv2
import numpy as np
import pytest

from grainplan.geometry import Box, apply_homography, signed_area, solve_homography


def test_homography_agrees_with_opencv() -> None:
    rng = np.random.default_rng(7)
    for _ in range(50):
        source = np.array([[0, 0], [1800, 0], [1800, 190], [0, 190]]) + rng.uniform(-20, 20, (4, 2))
        target = np.array([[40, 220], [2900, 240], [2870, 540], [60, 510]]) + rng.uniform(-30, 30, (4, 2))
        ours = solve_homography(source, target)
        theirs = cv2.getPerspectiveTransform(source.astype(np.float32), target.astype(np.float32))
        points = rng.uniform(0, 1800, (20, 2))
        expected = cv2.perspectiveTransform(points[None], theirs)[0]
        np.testing.assert_allclose(apply_homography(ours, points), expected, atol=0.05)  # OpenCV's input is float32
        np.testing.assert_allclose(apply_homography(ours, source), target, atol=1e-6)


def test_points_in_line_have_no_homography() -> None:
    with pytest.raises(ValueError, match="in line"):
        solve_homography([[0, 0], [1, 0], [2, 0], [3, 0]], [[0, 0], [1, 0], [1, 1], [0, 1]])


def test_clockwise_on_a_picture_is_positive() -> None:
    square = [(0, 0), (2, 0), (2, 3), (0, 3)]  # right, then down: clockwise where y runs downward
    assert signed_area(square) == pytest.approx(6)
    assert signed_area(square[::-1]) == pytest.approx(-6)


def test_boxes_that_share_an_edge_do_not_overlap() -> None:
    assert not Box(0, 0, 10, 10).overlaps(Box(10, 0, 20, 10))
    assert Box(0, 0, 10, 10).overlaps(Box(9.9, 0, 20, 10))
    assert Box(0, 0, 10, 10).contains(Box(0, 2, 10, 5))
    assert not Box(0, 0, 10, 10).contains(Box(0, 2, 10.1, 5))


@pytest.mark.parametrize("numbers", [(1, 0, 0, 1), (0, 0, float("nan"), 1)])
def test_a_box_that_cannot_be_is_refused(numbers: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match="box"):
        Box(*numbers)
