"""Where the program guesses: a surface fades into mist, place by place, the less is known of it."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from grainplan.match.surfaces import LeafSurface
from grainplan.picture import Picture

CLEAR_FROM, GONE_BELOW = 0.75, 0.35
"""Expected agreement with the true surface from which a picture stands clear, and below which it is all but gone: the
range that predictions of drawn boards reach, down to where no seam is scored on them."""
_THICKEST = 0.88
_COLOUR = (206.0, 214.0, 222.0)  # cool: no wood looks like it


def cover_with_mist(surface: LeafSurface) -> LeafSurface:
    """The same surface under a mist as thick as its picture is doubtful; a photo of the very surface stays clear.

    Parameters
    ----------
    surface : LeafSurface
        A predicted one by its own doubt, place by place; a stand-in shows another surface, so it is all but gone.
    """
    if surface.picture is None or surface.seen in ("leaf photo", "own side", "none"):
        return surface
    sure = np.full((1, 1), surface.confidence if surface.seen == "inside" else GONE_BELOW, np.float32)
    if surface.sure is not None:
        sure = np.asarray(surface.sure, np.float32)
    pixels = surface.picture.pixels
    thick = np.clip((CLEAR_FROM - sure) / (CLEAR_FROM - GONE_BELOW), 0.0, 1.0) * _THICKEST
    spread = cv2.resize(thick, (pixels.shape[1], pixels.shape[0]), interpolation=cv2.INTER_LINEAR)[:, :, None]
    misty = pixels + (np.array(_COLOUR, np.float32) - pixels) * spread
    return replace(surface, picture=Picture(misty.astype(np.uint8), surface.picture.px_per_mm))
