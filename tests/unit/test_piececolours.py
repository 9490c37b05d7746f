"""Colours of pieces and seams, as normal and as colour-blind eyes see them, and in greyscale."""

import numpy as np
import pytest

from model.layout import BODY, ROOF, WINDOW
from model.piececolours import FILLER_COLOUR, SHIFTED_COLOUR, SLUG_COLOUR, STRIP_COLOUR, colour_of, rgb_of
from model.seamcolours import CLASSES

# Linear light to what each kind of dichromat sees of it: Machado, Oliveira and Fernandes (2009), severity 1;
# from memory.  White stays white: every row adds up to 1.
EYES = {
    "normal": np.eye(3),
    "no red": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no blue": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.119192, 0.9503041]]
)
PIECES = [colour_of(BODY), colour_of(ROOF), colour_of(WINDOW), SHIFTED_COLOUR, STRIP_COLOUR, SLUG_COLOUR]
SEAMS = [kind.colour for kind in CLASSES]
LAPS = [kind.colour for kind in CLASSES if kind.is_overlap]


def lab(colour, eye="normal"):
    """Return CIELAB of a colour of the screen (sRGB, white D65) as an eye sees it."""
    c = np.array(rgb_of(colour)) / 255
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    ratio = XYZ @ np.clip(EYES[eye] @ linear, 0, 1) / XYZ.sum(axis=1)
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def test_the_ruler_itself():
    """White is (100, 0, 0) to every eye; the red of the screen has the L*, a*, b* of the tables."""
    for eye, matrix in EYES.items():
        np.testing.assert_allclose(matrix.sum(axis=1), 1.0, atol=2e-6)
        np.testing.assert_allclose(lab("#ffffff", eye), [100, 0, 0], atol=0.01)
    np.testing.assert_allclose(lab("#ff0000"), [53.24, 80.09, 67.20], atol=0.02)


@pytest.mark.parametrize("eye", EYES)
def test_new_metal_is_no_other_piece_s_colour_nor_a_seam_s(eye):
    """25 is ten times what is just told apart side by side (2.3)."""
    apart = {c: float(np.linalg.norm(lab(FILLER_COLOUR, eye) - lab(c, eye))) for c in [*PIECES, *SEAMS]}
    assert min(apart.values()) > 25.0, min(apart.items(), key=lambda item: item[1])


def test_new_metal_stands_out_in_greyscale_from_what_it_lies_beside_and_from_laps():
    lightness = lab(FILLER_COLOUR)[0]
    for other in (colour_of(BODY), colour_of(ROOF), colour_of(WINDOW), *LAPS):
        assert abs(lightness - lab(other)[0]) > 9.0, other
