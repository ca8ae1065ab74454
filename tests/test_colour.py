"""CIEDE2000 against the published pairs and against scikit-image."""

from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from grainplan.match.colour import differ_ciede2000

PAIRS = np.loadtxt(Path(__file__).parent / "published" / "ciede2000.csv", delimiter=",", skiprows=2)


def test_all_published_pairs_are_there() -> None:
    assert PAIRS.shape == (34, 7)


@pytest.mark.parametrize("pair", PAIRS, ids=[f"pair {i + 1}" for i in range(34)])
def test_the_published_pairs(pair: np.ndarray) -> None:
    """Sharma, Wu, Dalal 2005, table 1, to the four decimals that it gives, both ways round."""
    assert differ_ciede2000(pair[:3], pair[3:6]) == pytest.approx(pair[6], abs=5.1e-5)
    assert differ_ciede2000(pair[3:6], pair[:3]) == pytest.approx(pair[6], abs=5.1e-5)


def test_a_thousand_random_pairs_as_scikit_image_has_them() -> None:
    random = np.random.default_rng(5)
    low, high = (0, -80, -80), (100, 80, 80)
    first = random.uniform(low, high, (1000, 3))
    second = np.where(random.random((1000, 1)) < 0.5, first + random.normal(0, 3, (1000, 3)), random.uniform(low, high))
    assert np.allclose(differ_ciede2000(first, second), deltaE_ciede2000(first, second), atol=1e-9)


def test_a_list_of_colours_is_compared_one_by_one() -> None:
    together = differ_ciede2000(PAIRS[:, :3], PAIRS[:, 3:6])
    assert together.shape == (34,)
    assert np.allclose(together, PAIRS[:, 6], atol=5.1e-5)
