"""Colours made true by a grey card that lies beside the board in its photo.

A grey card reflects 18 % of the light in every colour. In a photo that is exposed and balanced right its tone is 118 of
255 in each of the three (ISO 12232; 18 % in the transfer curve of IEC 61966-2-1). What the camera made of it tells
three gains, and they are carried out in linear light, where a lamp's colour multiplies.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from grainplan.boards import Point
from grainplan.errors import NotFound, PhotoError
from grainplan.geometry import Floats
from grainplan.photos.load import Photo

CARD_SHARE = 0.18  # of the light, that a grey card gives back
_RIM = 0.15  # of the box, left out all round: the card's edge, fingers
_LEAST_PX = 5
_DARKEST, _BRIGHTEST = 14, 244
_UNEVEN = 16.0  # tones between the tenth and the ninetieth hundredth of a card's pixels
_STRONGEST_CAST = 5.0  # between the strongest and the weakest colour, in linear light: candle light has about 4
_MOST_STOPS = 2.5


@dataclass(frozen=True, slots=True, eq=False)
class Tones:
    """What a grey card says of a photo.

    Parameters
    ----------
    gains : ndarray, shape (3,)
        Of red, green and blue, in linear light.
    middle_px : ndarray, shape (2,)
        The card's middle in the whole photo.
    """

    gains: Floats
    middle_px: Floats

    @property
    def curve(self) -> Floats:
        """New tone of each of the 256 tones and three colours, shape (256, 3)."""
        return encode_light(decode_tones(np.arange(256.0))[:, None] * self.gains) * 255


def decode_tones(tones: Floats) -> Floats:
    """Linear light, 0 to 1, of tones from 0 to 255 (IEC 61966-2-1)."""
    v = np.asarray(tones, float) / 255
    return np.asarray(np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4), float)


def encode_light(light: Floats) -> Floats:
    """Tones from 0 to 1 of linear light (IEC 61966-2-1); what is over white stays white."""
    v = np.clip(np.asarray(light, float), 0.0, 1.0)
    return np.asarray(np.where(v <= 0.0031308, v * 12.92, 1.055 * v ** (1 / 2.4) - 0.055), float)


def read_card(photo: Photo, box_px: tuple[Point, Point], *, called: str) -> Tones | NotFound:
    """What the grey card in a box of a photo says of its exposure and white balance.

    Parameters
    ----------
    photo : Photo
    box_px : two points
        Opposite corners of a box on the card, px of the whole upright photo.
    called : str
        How to name the photo to the maker.

    Returns
    -------
    Tones, or NotFound with the reason where what lies in the box cannot be an evenly lit grey card.

    Raises
    ------
    PhotoError
        When the box lies outside the photo.
    """
    box = np.sort(np.array(box_px, float), axis=0)
    if (box[0] < -1).any() or (box[1] > np.array([photo.width_px, photo.height_px]) + 1).any():
        raise PhotoError(
            f"{called}: the grey card's box reaches outside the photo, which has {photo.width_px} × {photo.height_px} "
            "px once it is upright; were its corners read off a smaller or a turned copy?"
        )
    inner = photo.place(np.array([box[0] + _RIM * np.ptp(box, axis=0), box[1] - _RIM * np.ptp(box, axis=0)]))
    (x0, y0), (x1, y1) = np.ceil(inner[0]).astype(int), np.floor(inner[1]).astype(int)
    if min(x1 - x0, y1 - y0) < _LEAST_PX:
        return NotFound("the grey card's box is too small to read a colour from; draw it over most of the card")
    part = photo.pixels[y0:y1, x0:x1].reshape(-1, 3)
    low, tone, high = np.quantile(part, (0.1, 0.5, 0.9), axis=0)
    if float((high - low).max()) > _UNEVEN:
        return NotFound(
            f"the grey card's box holds tones {float((high - low).max()):.0f} apart; draw it inside the card, and see "
            "that no shadow or gloss lies on it"
        )
    if tone.min() < _DARKEST or tone.max() > _BRIGHTEST:
        what = "nearly black" if tone.min() < _DARKEST else "burnt out"
        return NotFound(f"the grey card is {what} in one colour and tells nothing of it; expose anew")
    light = decode_tones(tone)
    if light.max() / light.min() > _STRONGEST_CAST:
        return NotFound(
            f"what lies in the grey card's box has a strong colour (red {tone[0]:.0f}, green {tone[1]:.0f}, blue "
            f"{tone[2]:.0f}); is the box on the card?"
        )
    stops = float(np.log2(CARD_SHARE / light[1]))
    if abs(stops) > _MOST_STOPS:
        way = "darker" if stops > 0 else "brighter"
        return NotFound(
            f"the grey card is {abs(stops):.1f} stops {way} than it should be; use a card of 18 % grey, or expose anew"
        )
    return Tones(CARD_SHARE / light, box.mean(axis=0))


def apply_tones(photo: Photo, tones: Tones) -> Photo:
    """The photo in the colours that the card makes true."""
    table = np.clip(tones.curve + 0.5, 0, 255).astype(np.uint8)[None]
    return replace(photo, pixels=np.asarray(cv2.LUT(photo.pixels, table), np.uint8))
