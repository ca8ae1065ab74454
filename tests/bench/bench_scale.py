"""How well scale sheets measure a board of 2 m, and how honest the doubt is: ``python -m tests.bench.bench_scale``.

200 drawn photographs, none of them used for tuning (that was done on seeds 5000 to 5109).
"""

from __future__ import annotations

import numpy as np

from grainplan.errors import NotFound
from grainplan.photos.scale import find_scale
from grainplan.photos.sheets import find_sheets
from tests.drawn.sheet_trials import LENGTH_MM, SIZE_PX, TYPED_OFF_PX, WIDTH_MM, draw_trial

SEEDS = range(9000, 9200)


def main() -> None:
    """Print one line for the length and one for the width."""
    rows, lost = [], 0
    for seed in SEEDS:
        trial = draw_trial(seed, sheets=3 if seed % 3 == 0 else 2)
        scale = find_scale(find_sheets(trial.photo, around_px=trial.typed_px), SIZE_PX)
        if isinstance(scale, NotFound):
            lost += 1
            continue
        sides = scale.measure_sides(trial.typed_px, corner_px=2 * TYPED_OFF_PX)
        rows.append(
            [(s.value / true - 1, s.doubt / true) for s, true in zip(sides, (LENGTH_MM, WIDTH_MM), strict=True)]
        )
    table = np.abs(np.array(rows)) * 100
    for name, (off, doubt) in zip(("length", "width"), np.moveaxis(table, (1, 2), (0, 1)), strict=True):
        print(
            f"{name}: {len(off)} photos, {lost} refused; off by {np.median(off):.3f} % (median), {off.max():.3f} % at "
            f"most; doubt {np.median(doubt):.3f} % (median); covered {np.mean(off <= doubt):.1%}"
        )


if __name__ == "__main__":
    main()
