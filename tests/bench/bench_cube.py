"""The table of the real cube, all six faces left out in turn: ``python -m tests.bench.bench_cube FOLDER``.

FOLDER is that of the real pictures. For each face: how far foretold ring lines are turned from the true ones (mean,
degrees) on all of it, outside the knot, and at 1.5 and 2 times its outline; the same read so finely that saw marks
count too; the agreement of its rings, and of wrong faces; and what is reached without the knot's boxes, when the
branch is not known of.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from tests.realcube import AWAY, FACES, compare_rings, foretell, lay_cube, mask_knot, measure_direction_miss

ENLARGED = (0.0, 1.0, 1.5, 2.0)


def main() -> None:
    """Run the table."""
    faces = lay_cube(Path(sys.argv[1]))
    columns = "".join(f"{f'x{enlarged}':>7}" for enlarged in ENLARGED)
    print(f"face |{columns}   fine | rings  wrong faces   seconds | without boxes: deg  rings")
    for name in FACES:
        start = time.process_time()
        told = foretell(faces, name)
        seconds = time.process_time() - start
        misses = [measure_direction_miss(told, faces[name], mask_knot(name, enlarged)) for enlarged in ENLARGED]
        fine = measure_direction_miss(told, faces[name], mask_knot(name), fine=True)
        rings = {other: compare_rings(told, name, faces[other], faces[name]) for other in FACES}
        own = rings.pop(name)
        plain = foretell(faces, name, boxed=False)
        print(
            f"{name:4} |"
            + "".join(f"{miss:7.1f}" for miss in misses)
            + f"{fine:7.1f} | {own:5.2f}  {min(rings.values()):5.2f} to {max(rings.values()):.2f}   {seconds:7.1f} |"
            + f"{measure_direction_miss(plain, faces[name], mask_knot(name)):19.1f}"
            + f"{compare_rings(plain, name, faces[name], faces[name]):7.2f}",
            flush=True,
        )
    print(f"(fine and without boxes at x{AWAY}; asked: 8 degrees away from the knot, rings 0.5)")


if __name__ == "__main__":
    main()
