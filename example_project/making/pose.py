"""From what a body does (pelvis, feet, hands, back) to the rotation of every joint."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from making.crew import ARM, FOREARM, JOINTS, NAMES, OFFSETS, SHANK, THIGH
from making.turns import Array, about, columns, turn, unit


@dataclass
class Foot:
    """A foot over the frames: ankle (frames, 3), heading, pitch (toes down is positive)."""

    ankle: Array
    yaw_deg: Array
    pitch_deg: Array
    toes_deg: Array


@dataclass
class Act:
    """What the body does. Everything has one row or value a frame."""

    pelvis: Array
    feet: dict[str, Foot]
    wrists: dict[str, Array]
    pelvis_yaw_deg: Array
    pelvis_pitch_deg: Array
    back_pitch_deg: Array
    back_yaw_deg: Array
    head_pitch_deg: Array
    elbow_poles: dict[str, Array]
    knee_out_deg: float = 6.0
    knee_back: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    hand_turns: dict[str, Array] = field(default_factory=dict)


@dataclass
class Motion:
    """The result: world rotation (frames, 3, 3) and position (frames, 3) of every joint."""

    rotations: dict[str, Array]
    positions: dict[str, Array]
    rate_hz: float
    # Props move by joints of their own: rotation and position in the world, as above.
    props: dict[str, tuple[Array, Array]] = field(default_factory=dict)
    # Weights of the face's morph targets.
    face: dict[str, Array] = field(default_factory=dict)
    # Rest offsets that are not the crew's, and angles (Z, X, Y) that are stored wound up, degrees.
    offsets: dict[str, Array] = field(default_factory=dict)
    wound_deg: dict[str, Array] = field(default_factory=dict)

    @property
    def frames(self) -> int:
        """How many."""
        return len(self.positions["pelvis"])

    def local(self, name: str) -> Array:
        """Rotation of a joint in its parent's axes."""
        parent = JOINTS[name][0]
        if not parent:
            return self.rotations[name]
        return np.asarray(np.einsum("fji,fjk->fik", self.rotations[parent], self.rotations[name]))

    def shift(self, name: str) -> Array:
        """Translation of a joint in its parent's axes."""
        parent = JOINTS[name][0]
        if not parent:
            return self.positions[name]
        away = self.positions[name] - self.positions[parent]
        return np.asarray(np.einsum("fji,fj->fi", self.rotations[parent], away))

    def at(self, frames: NDArray[np.intp]) -> Motion:
        """The same with these of its frames, in this order."""
        turned = {name: one[frames] for name, one in self.rotations.items()}
        moved = {name: one[frames] for name, one in self.positions.items()}
        return Motion(turned, moved, self.rate_hz)

    def mirrored(self) -> Motion:
        """The same with left and right exchanged: mirrored at the plane x = 0."""
        flip = np.diag([-1.0, 1.0, 1.0])
        made = Motion({}, {}, self.rate_hz)
        for name in self.positions:
            other = name.replace("left_", "*").replace("right_", "left_").replace("*", "right_")
            made.rotations[other] = flip @ self.rotations[name] @ flip
            made.positions[other] = self.positions[name] @ flip
        return made

    def with_turn(self, name: str, axis: str, degrees: Array) -> Motion:
        """The same with one joint turned further, and all below it carried along."""
        local = {joint: self.local(joint) for joint in NAMES}
        shift = {joint: self.shift(joint) for joint in NAMES}
        local[name] = local[name] @ about(axis, degrees)
        return from_local(local, shift, self.rate_hz)

    def with_shift(self, name: str, offset: Array) -> Motion:
        """The same with one joint moved in its parent's axes, and all below it carried along."""
        local = {joint: self.local(joint) for joint in NAMES}
        shift = {joint: self.shift(joint) for joint in NAMES}
        shift[name] = shift[name] + offset
        return from_local(local, shift, self.rate_hz)


def from_local(local: dict[str, Array], shift: dict[str, Array], rate_hz: float) -> Motion:
    """World rotations and positions from those in the parents' axes."""
    made = Motion({}, {}, rate_hz)
    for name, (parent, _) in JOINTS.items():
        if not parent:
            made.rotations[name], made.positions[name] = local[name], shift[name]
            continue
        above = made.rotations[parent]
        made.rotations[name] = above @ local[name]
        moved = np.einsum("fij,fj->fi", above, shift[name])
        made.positions[name] = made.positions[parent] + moved
    return made


def solve(act: Act, rate_hz: float) -> Motion:
    """Poses the whole body: back from angles, limbs by two-bone inverse kinematics."""
    motion = Motion({}, {"pelvis": act.pelvis}, rate_hz)
    r = motion.rotations
    r["pelvis"] = about("Y", act.pelvis_yaw_deg) @ about("X", act.pelvis_pitch_deg)
    r["waist"] = r["pelvis"] @ about("Y", act.back_yaw_deg / 2) @ about("X", act.back_pitch_deg / 2)
    r["chest"] = r["waist"] @ about("Y", act.back_yaw_deg / 2) @ about("X", act.back_pitch_deg / 2)
    r["neck"] = r["chest"] @ about("X", act.head_pitch_deg / 2)
    r["head"] = r["neck"] @ about("X", act.head_pitch_deg / 2)
    for side in ("left", "right"):
        r[f"{side}_collar"] = r["chest"]
    _carry(motion, [n for n in NAMES if n in r or n.endswith(("_thigh", "_upper_arm"))])
    for side, sign in (("left", 1.0), ("right", -1.0)):
        _leg(motion, act, side, sign)
        _arm(motion, act, side, sign)
    _carry(motion, list(NAMES))
    return motion


def _carry(motion: Motion, names: list[str]) -> None:
    for name in names:
        parent = JOINTS[name][0]
        if parent and parent in motion.rotations:
            at = motion.positions[parent]
            motion.positions[name] = at + turn(motion.rotations[parent], OFFSETS[NAMES.index(name)])


def _bend(root: Array, target: Array, pole: Array, upper: float, lower: float) -> Array:
    """Where the middle joint goes: on the side of `pole`, straight at most."""
    line = target - root
    reach = np.linalg.norm(line, axis=1)
    if np.any(reach > 0.9995 * (upper + lower)):
        worst = int(np.argmax(reach))
        raise ValueError(f"frame {worst}: {reach[worst]:.3f} m is out of reach")
    along = (upper**2 - lower**2 + reach**2) / (2.0 * reach)
    off = np.sqrt(np.maximum(upper**2 - along**2, 0.0))
    ahead = unit(line)
    side = unit(pole - np.sum(pole * ahead, axis=1, keepdims=True) * ahead)
    return np.asarray(root + along[:, None] * ahead + off[:, None] * side)


def _leg(motion: Motion, act: Act, side: str, sign: float) -> None:
    foot, r = act.feet[side], motion.rotations
    hip = motion.positions[f"{side}_thigh"]
    pole = turn(about("Y", foot.yaw_deg + sign * act.knee_out_deg), np.array([0.0, 0.0, 1.0]))
    # A knee that is bent backwards lies on the other side of the line from hip to ankle.
    back = act.knee_back.get(side, np.zeros(len(hip), dtype=bool))[:, None]
    knee = _bend(hip, foot.ankle, np.where(back, -pole, pole), THIGH, SHANK)
    # Square to the plane of the leg: a shin that lies level must not turn about its own length.
    x = unit(np.cross(hip - foot.ankle, pole))
    for name, top, bottom in ((f"{side}_thigh", hip, knee), (f"{side}_shin", knee, foot.ankle)):
        y = unit(top - bottom)
        r[name] = columns(x, y, np.cross(x, y))
    r[f"{side}_foot"] = about("Y", foot.yaw_deg) @ about("X", foot.pitch_deg)
    r[f"{side}_toes"] = r[f"{side}_foot"] @ about("X", foot.toes_deg)


def _arm(motion: Motion, act: Act, side: str, sign: float) -> None:
    r = motion.rotations
    shoulder, wrist = motion.positions[f"{side}_upper_arm"], act.wrists[side]
    pole = act.elbow_poles[side]
    elbow = _bend(shoulder, wrist, pole, ARM, FOREARM)
    for name, near, far in (
        (f"{side}_upper_arm", shoulder, elbow),
        (f"{side}_forearm", elbow, wrist),
    ):
        x = sign * unit(far - near)
        y = unit(np.cross(wrist - shoulder, pole)) * sign
        y = unit(y - np.sum(y * x, axis=1, keepdims=True) * x)
        r[name] = columns(x, y, np.cross(x, y))
    hand = act.hand_turns.get(side)
    r[f"{side}_hand"] = r[f"{side}_forearm"] if hand is None else r[f"{side}_forearm"] @ hand
