"""Skeletons made from published body measures, standing in a T-pose, Y up, facing +Z, metres.

Landmark heights and lengths: ANSUR II means, 4,082 men and 1,986 women (US Army 2012; Gordon CC
et al. 2014, NATICK/TR-15/007). Joint centres: offsets from the landmarks by de Leva P (1996),
J Biomech 29(9):1223-1230: shoulder 34.5 mm below the acromion, elbow 15.5 above radiale, wrist
2.0 beyond stylion, hip 3.2 above trochanterion, knee 34 above tibiale, ankle 6.3 below the
lateral malleolus.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from kinelint.clip import Skeleton


@dataclass(frozen=True)
class Measures:
    """Means of one sex, millimetres, as the survey's table names them."""

    stature: float
    acromial_height: float
    trochanterion_height: float
    tibial_height: float
    lateral_malleolus_height: float
    biacromial_breadth: float
    acromion_radiale: float
    radiale_stylion: float
    cervicale_height: float


MEN = Measures(1756.2, 1440.7, 900.9, 468.2, 72.9, 415.7, 335.2, 267.9, 1517.0)
WOMEN = Measures(1628.5, 1335.1, 845.4, 437.8, 62.7, 365.3, 311.2, 241.3, 1396.0)


def standing(m: Measures) -> dict[str, tuple[str, tuple[float, float, float]]]:
    """Name to parent and position in metres."""
    hip = m.trochanterion_height + 3.2
    knee, ankle = m.tibial_height + 34.0, m.lateral_malleolus_height - 6.3
    shoulder = m.acromial_height - 34.5
    arm = m.acromion_radiale - 34.5 - 15.5
    forearm = m.radiale_stylion + 15.5 + 2.0
    side = m.biacromial_breadth / 2 - 20.0
    found: dict[str, tuple[str, tuple[float, float, float]]] = {
        "Pelvis": ("", (0, hip + 40, 0)),
        "Spine": ("Pelvis", (0, hip + 150, 0)),
        "Chest": ("Spine", (0, hip + 300, 0)),
        "Neck": ("Chest", (0, m.cervicale_height - 20, 0)),
        "Head": ("Neck", (0, m.cervicale_height + 80, 10)),
        "HeadTop": ("Head", (0, m.stature, 10)),
    }
    for name, sign in (("Left", 1), ("Right", -1)):
        found |= {
            f"{name}Thigh": ("Pelvis", (sign * 85, hip, 0)),
            f"{name}Shin": (f"{name}Thigh", (sign * 85, knee, 5)),
            f"{name}Foot": (f"{name}Shin", (sign * 85, ankle, -10)),
            f"{name}Toes": (f"{name}Foot", (sign * 90, 20, 120)),
            f"{name}ToeTip": (f"{name}Toes", (sign * 90, 15, 185)),
            f"{name}Clavicle": ("Chest", (sign * 20, shoulder + 5, 20)),
            f"{name}UpperArm": (f"{name}Clavicle", (sign * side, shoulder, 0)),
            f"{name}Forearm": (f"{name}UpperArm", (sign * (side + arm), shoulder, -5)),
            f"{name}Hand": (f"{name}Forearm", (sign * (side + arm + forearm), shoulder, 0)),
            f"{name}HandTip": (f"{name}Hand", (sign * (side + arm + forearm + 185), shoulder, 0)),
        }
    scaled = {name: (up, (x / 1000, y / 1000, z / 1000)) for name, (up, (x, y, z)) in found.items()}
    return parents_first(scaled)


def parents_first(
    joints: Mapping[str, tuple[str, tuple[float, float, float]]],
) -> dict[str, tuple[str, tuple[float, float, float]]]:
    """The same joints, each after its parent, else in the order given."""
    ordered: dict[str, tuple[str, tuple[float, float, float]]] = {}
    while len(ordered) < len(joints):
        for name, (parent, place) in joints.items():
            if name not in ordered and (not parent or parent in ordered):
                ordered[name] = (parent, place)
    return ordered


@dataclass
class Rig:
    """A skeleton in the making: joints by name, in world positions."""

    joints: dict[str, tuple[str, tuple[float, float, float]]]
    ends: set[str] = field(default_factory=set)

    @staticmethod
    def of(measures: Measures) -> Rig:
        """A whole body; head, hands and toes end in end points."""
        joints = standing(measures)
        return Rig(joints, {name for name in joints if name.endswith(("Top", "Tip"))})

    def without(self, *words: str) -> Rig:
        """Without the joints whose names hold one of the words; their children move up."""
        gone = {name for name in self.joints if any(word in name for word in words)}

        def kept(name: str) -> str:
            while name in gone:
                name = self.joints[name][0]
            return name

        joints = {
            name: (kept(parent), place)
            for name, (parent, place) in self.joints.items()
            if name not in gone
        }
        return Rig(joints, self.ends - gone)

    def between(self, name: str, child: str, share: float) -> Rig:
        """With one more joint on the line from a joint's parent to it."""
        parent, place = self.joints[child]
        start = np.array(self.joints[parent][1])
        middle = tuple((start + share * (np.array(place) - start)).tolist())
        joints = dict(self.joints)
        joints[name] = (parent, middle)
        joints[child] = (name, place)
        return Rig(parents_first(joints), set(self.ends))

    def with_joint(self, name: str, parent: str, place: Sequence[float]) -> Rig:
        """With one more joint."""
        x, y, z = place
        return Rig({**self.joints, name: (parent, (x, y, z))}, set(self.ends))

    def skeleton(
        self, names: Mapping[str, str] | None = None, scale: float = 1.0, axes: str = "xyz"
    ) -> Skeleton:
        """As a skeleton: renamed, in another unit, with axes cycled ("zxy": our Y becomes Z)."""
        order = list(self.joints)
        parents = [order.index(up) if up else -1 for up, _ in self.joints.values()]
        places = np.array([place for _, place in self.joints.values()]) * scale
        places = places[:, ["xyz".index(axis) for axis in axes]]
        offsets = [
            place - places[up] if up >= 0 else place
            for place, up in zip(places, parents, strict=True)
        ]
        return Skeleton(
            names=tuple((names or {}).get(name, name) for name in order),
            parents=np.array(parents),
            rest_translations=np.array(offsets),
            tips=np.array([name in self.ends for name in order]),
        )
