"""Colours as eyes see them: contrast, three simulated deficiencies, and the difference of two colours.

Sources: WCAG 2.2, "relative luminance" and "contrast ratio"; IEC 61966-2-1 (sRGB) with its matrix to CIE XYZ, D65;
CIE 15 (CIELAB, grey is its L*); Machado, Oliveira, Fernandes 2009, "A Physiologically-based Model for Simulation of
Color Vision Deficiency", IEEE TVCG 15(6), matrices of severity 1.0 for linear RGB; CIE 142 (CIEDE2000), written after
Sharma, Wu, Dalal 2005, Color Res. Appl. 30(1), 21-30, whose equations are numbered here.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Three = NDArray[np.float64]
"""Three numbers: linear RGB of 0 to 1, or CIELAB."""

DEFICIENCIES = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
}  # fmt: skip
TO_XYZ = np.array(((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505)))
"""IEC 61966-2-1; its rows' sums are the white of D65."""


def linear(hexed: str) -> Three:
    """ "#1c6fc9" or "#fff" as linear RGB."""
    digits = hexed.removeprefix("#")
    whole = digits if len(digits) == 6 else "".join(digit * 2 for digit in digits)
    coded = np.array([int(whole[i : i + 2], 16) for i in (0, 2, 4)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """WCAG's ratio, 1 to 21."""
    light, dark = sorted((float(TO_XYZ[1] @ linear(colour)) for colour in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def seen(colour: Three, deficiency: str | None = None) -> Three:
    """CIELAB of linear RGB, as everybody sees it or as with a full `deficiency`."""
    rgb = colour if deficiency is None else np.clip(np.array(DEFICIENCIES[deficiency]) @ colour, 0, 1)
    ratio = (TO_XYZ @ rgb) / TO_XYZ.sum(axis=1)
    x, y, z = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array((116 * y - 16, 500 * (x - y), 200 * (y - z)))


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))


def _share(chroma: float) -> float:
    return math.sqrt(chroma**7 / (chroma**7 + 25.0**7))


def difference(one: Three, other: Three) -> float:
    """CIEDE2000 of two CIELAB colours, with k_L = k_C = k_H = 1."""
    (l1, a1, b1), (l2, a2, b2) = one, other
    g = 0.5 * (1 - _share((math.hypot(a1, b1) + math.hypot(a2, b2)) / 2))  # (2) to (4)
    a1, a2 = (1 + g) * a1, (1 + g) * a2  # (5)
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)  # (6)
    h1, h2 = math.degrees(math.atan2(b1, a1)) % 360, math.degrees(math.atan2(b2, a2)) % 360  # (7)
    turn = (h2 - h1 + 180) % 360 - 180 if c1 * c2 else 0.0  # (10)
    if turn == -180 and h2 > h1:  # half a turn keeps its sign
        turn = 180.0
    dh = 2 * math.sqrt(c1 * c2) * math.sin(math.radians(turn / 2))  # (11)
    lightness, chroma = (l1 + l2) / 2, (c1 + c2) / 2  # (12), (13)
    hue = _mean_hue(h1, h2) if c1 * c2 else h1 + h2  # (14)
    t = (
        1 - 0.17 * _cos(hue - 30) + 0.24 * _cos(2 * hue) + 0.32 * _cos(3 * hue + 6) - 0.2 * _cos(4 * hue - 63)
    )  # (15)
    theta = 30 * math.exp(-(((hue - 275) / 25) ** 2))  # (16)
    s_l = 1 + 0.015 * (lightness - 50) ** 2 / math.sqrt(20 + (lightness - 50) ** 2)  # (18)
    dl, dc, dh = (
        (l2 - l1) / s_l,
        (c2 - c1) / (1 + 0.045 * chroma),
        dh / (1 + 0.015 * chroma * t),
    )  # (19), (20)
    r_t = -math.sin(math.radians(2 * theta)) * 2 * _share(chroma)  # (17), (21)
    return math.sqrt(dl**2 + dc**2 + dh**2 + r_t * dc * dh)  # (22)


def _mean_hue(h1: float, h2: float) -> float:
    total = h1 + h2
    if abs(h1 - h2) > 180:
        total += 360 if total < 360 else -360
    return total / 2
