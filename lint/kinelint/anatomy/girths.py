"""How thick people are: girths, breadths and depths as fractions of stature.

Source: ANSUR II, the 2012 anthropometric survey of US Army personnel (NATICK/TR-15/007), 4,082
men and 1,986 women, means. Girths are the means of the single ratios; breadths and depths are
mean by mean stature (1756.2 and 1628.5 mm). Upper arm and forearm are of the flexed arm. The
survey is of grown people fit for service: children and stylised figures are thicker for their
height, which a skin or the policy can tell.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

# Name: (men, women), girth by stature.
GIRTHS: Mapping[str, tuple[float, float]] = {
    "head": (0.3274, 0.3450),
    "neck": (0.2267, 0.2027),
    "upper arm": (0.2041, 0.1878),
    "forearm": (0.1767, 0.1623),
    "wrist": (0.1002, 0.0951),
    "hand": (0.1210, 0.1146),
    "thigh": (0.3562, 0.3785),
    "lower thigh": (0.2332, 0.2462),
    "calf": (0.2235, 0.2293),
    "ankle": (0.1307, 0.1326),
    "ball of foot": (0.1436, 0.1402),
}
_MEN, _WOMEN = 1756.2, 1628.5
# Name: ((men's breadth, depth), (women's)) in mm.
_SECTIONS_MM: Mapping[str, tuple[tuple[float, float], tuple[float, float]]] = {
    "hips": ((346.0, 246.0), (354.0, 233.0)),
    "waist": ((326.0, 238.0), (300.0, 213.0)),
    "chest": ((289.0, 254.0), (269.0, 247.0)),
    "head": ((154.3, 199.5), (147.8, 189.8)),
    "hand": ((88.3, 0.0), (78.2, 0.0)),
}
# Heights of the trunk's sections, 0 at the hip joints and 1 at the base of the neck: the survey's
# means of trochanterion 901, omphalion, chest and cervicale 1517 mm; the middle two from memory.
TRUNK_HEIGHTS = (("hips", 0.0), ("waist", 0.27), ("chest", 0.62))


def _of(values: tuple[float, float], sex: str | None) -> float:
    if sex == "male":
        return values[0]
    if sex == "female":
        return values[1]
    return sum(values) / 2.0


def radius_ratio(girth: str, sex: str | None = None) -> float:
    """Radius of a round limb by stature."""
    return _of(GIRTHS[girth], sex) / (2.0 * math.pi)


def section_ratio(section: str, sex: str | None = None) -> tuple[float, float]:
    """Half breadth and half depth by stature."""
    men, women = _SECTIONS_MM[section]
    breadth = _of((men[0] / _MEN, women[0] / _WOMEN), sex)
    depth = _of((men[1] / _MEN, women[1] / _WOMEN), sex)
    return breadth / 2.0, depth / 2.0


def trunk_ratio(height: float, sex: str | None = None) -> tuple[float, float]:
    """Half breadth and half depth of the trunk by stature, at a height from hips 0 to neck 1."""
    heights = [at for _, at in TRUNK_HEIGHTS]
    halves = np.array([section_ratio(name, sex) for name, _ in TRUNK_HEIGHTS])
    breadth, depth = (float(np.interp(height, heights, halves[:, i])) for i in range(2))
    return breadth, depth


def hand_ratio(sex: str | None = None) -> tuple[float, float]:
    """Half breadth and half thickness of a flat hand by stature.

    The thickness is that of a stadium of the hand's breadth and girth: C = 2 (b - t) + pi t.
    """
    breadth = 2.0 * section_ratio("hand", sex)[0]
    thickness = (_of(GIRTHS["hand"], sex) - 2.0 * breadth) / (math.pi - 2.0)
    return breadth / 2.0, thickness / 2.0
