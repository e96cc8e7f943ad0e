"""One clip laid over the mirror image of another: which frames answer, and what is left over.

Turns are told from the rest pose and mirrored at its own middle plane, so that it does not matter
how the joints' axes lie. A reflection about any vertical plane is one about x = 0 and then a turn
about the vertical and a shift: so the alignment finds the plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.clip import Clip
from kinelint.kinematics import rotations
from kinelint.kinematics.alignment import Alignment, align
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.kinematics.rates import at_times
from kinelint.motion import Motion, world
from kinelint_rules.groups.pairing import Pairs

# So many frames tell the shift in time.
_MOST = 400
_NEAR_M = 0.001
# So much in place weighs as a degree.
_MM_PER_DEG = 4.0
# Cosine of 5 degrees.
_ALONG_AXIS = 0.9962
_ACROSS = np.array([[-1.0], [1.0], [1.0]])


@dataclass(frozen=True, eq=False)
class Mirror:
    """What is left of the second clip against the mirror image of the first.

    Attributes:
        lag_s: how much later the second does what the first does.
        frames: ``(n,)`` frames of the second that answer to any of the first.
        gap_deg, gap_mm: ``(m, n)`` what each joint is off there.
    """

    lag_s: float
    frames: Ints
    gap_deg: Floats
    gap_mm: Floats


def mirror_of(first: Motion, second: Motion, found: Pairs, most_shift_s: float) -> Mirror:
    """The second against the mirror image of the first, over the best shift in time.

    Args:
        first: a clip.
        second: the one that is to mirror it.
        found: joints of both, left answering to right.
        most_shift_s: no larger shift is tried.
    """
    one, other = _turns(first, found.first, True), _turns(second, found.second, False)
    outer = _outer(second, found.second)
    # What hangs in the world is turned by the plane, which is not known yet.
    inner = np.setdiff1d(np.arange(len(one)), outer)
    lag_s = _lag_s(first, second, one[inner], other[inner], most_shift_s)
    frames, times = _common(first, second, lag_s)
    expected = _at(one, first.sample_rate_hz, times)
    image = at_times(first.positions_m[found.first], first.sample_rate_hz, times) * _ACROSS
    places = second.positions_m[found.second][..., frames]
    # Figures that travel the wrong way would be laid over each other back to front by place alone.
    by_turn = _yaw(expected[outer], other[outer][..., frames])
    tries = []
    for yaw in (None, by_turn):
        over = _aligned(places[found.large], image[found.large], yaw)
        gap_mm = 1000.0 * np.linalg.norm(over.apply(image) - places, axis=1)
        brought = expected.copy()
        brought[outer] = rotations.multiply(over.turn, brought[outer])
        gap_deg = np.degrees(rotations.angle_between(brought, other[..., frames]))
        tries.append((float(np.mean(np.sqrt(gap_deg + gap_mm / _MM_PER_DEG))), gap_deg, gap_mm))
    _, gap_deg, gap_mm = min(tries, key=lambda one: one[0])
    return Mirror(lag_s, frames, gap_deg, gap_mm)


def _turns(motion: Motion, joints: Ints, image: bool) -> Floats:
    """``(m, 4, frames)`` turns from the rest pose, against what is above; maybe mirrored."""
    skeleton = motion.clip.skeleton
    rest = Clip("rest", skeleton, 1.0, skeleton.rest_rotations[:, :, None])
    places, turns = world(rest)
    turns = rotations.multiply(motion.figure.to_y_up, turns)
    from_rest = rotations.multiply(motion.orientations, rotations.conjugate(turns))
    normal = _rest_normal(motion, rotations.rotate(motion.figure.to_y_up, places))
    out = from_rest[joints]
    above = skeleton.parents[joints]
    inner = np.flatnonzero(np.isin(above, joints))
    out[inner] = rotations.multiply(rotations.conjugate(from_rest[above[inner]]), out[inner])
    if image:
        outer = _outer(motion, joints)
        out[inner] = _reflected(out[inner], normal)
        # From the rest pose's plane to the world's: a turn on either side of x = 0.
        plane = rotations.between(np.array([[1.0], [0.0], [0.0]]), normal)
        brought = rotations.multiply(out[outer], plane)
        brought = _reflected(brought, np.array([[1.0], [0.0], [0.0]]))
        out[outer] = rotations.multiply(brought, rotations.conjugate(plane))
    return np.asarray(out)


def _reflected(q: Floats, normal: Floats) -> Floats:
    """Rotations seen in a mirror: the part of the axis across the plane stays, the rest turns."""
    vector = q[..., 1:, :]
    along = np.sum(vector * normal, axis=-2, keepdims=True) * normal
    return np.concatenate((q[..., :1, :], 2.0 * along - vector), axis=-2)


def _rest_normal(motion: Motion, rest: Floats) -> Floats:
    """``(3, 1)`` from right to left in the rest pose."""
    joints = motion.figure.anatomy.joints
    across = np.zeros(3)
    for part in ("thigh", "upper_arm"):
        left, right = joints.get(f"left_{part}"), joints.get(f"right_{part}")
        if left and right:
            way = rest[left[0], :, 0] - rest[right[0], :, 0]
            across += way / max(float(np.linalg.norm(way)), 1e-9)
    length = float(np.linalg.norm(across))
    normal = across / length if length > 1e-6 else np.array([1.0, 0.0, 0.0])
    # Rest poses are built along the axes; that captured limbs differ tilts no mirror.
    axis = int(np.argmax(np.abs(normal)))
    if abs(normal[axis]) > _ALONG_AXIS:
        normal = np.sign(normal[axis]) * np.eye(3)[axis]
    return np.asarray(normal)[:, None]


def _outer(motion: Motion, joints: Ints) -> Ints:
    return np.flatnonzero(~np.isin(motion.clip.skeleton.parents[joints], joints))


def _at(turns: Floats, rate: float, times_s: Floats) -> Floats:
    """Turns read at times, the short way between frames."""
    place = np.clip(times_s * rate, 0.0, turns.shape[-1] - 1.0)
    low = np.minimum((place + 1e-9).astype(np.intp), max(turns.shape[-1] - 2, 0))
    high = np.minimum(low + 1, turns.shape[-1] - 1)
    return rotations.slerp(turns[..., low], turns[..., high], np.clip(place - low, 0.0, 1.0))


def _common(first: Motion, second: Motion, lag_s: float) -> tuple[Ints, Floats]:
    """Frames of the second that the first has a time for, and these times."""
    times = np.arange(second.frames) / second.sample_rate_hz - lag_s
    slack = 0.25 / second.sample_rate_hz
    inside = (times >= -slack) & (times <= first.clip.duration_s + slack)
    frames = np.flatnonzero(inside)
    return frames, times[frames]


def _lag_s(first: Motion, second: Motion, one: Floats, other: Floats, most_shift_s: float) -> float:
    """The shift at which turns agree best; 0 unless another is clearly better.

    The mean of |q . q'| over joints and frames is the correlation of two series of rotations.
    """
    step = 1.0 / second.sample_rate_hz
    most = int(min(most_shift_s, 0.4 * second.clip.duration_s, 0.4 * first.clip.duration_s) / step)
    lags = step * np.arange(-most, most + 1)
    off = np.array([_off_deg(first, second, one, other, lag) for lag in lags])
    best = int(np.argmin(off))
    here = float(off[most])
    return float(lags[best]) if off[best] < 0.7 * here and here - off[best] > 0.2 else 0.0


def _off_deg(first: Motion, second: Motion, one: Floats, other: Floats, lag_s: float) -> float:
    frames, times = _common(first, second, lag_s)
    thin = slice(None, None, len(frames) // _MOST + 1)
    read = _at(one, first.sample_rate_hz, times[thin])
    dots = np.abs(np.einsum("mcf,mcf->mf", read, other[..., frames[thin]]))
    return float(np.degrees(np.mean(2.0 * np.arccos(np.clip(dots, 0.0, 1.0)))))


def _yaw(from_turns: Floats, to_turns: Floats) -> float:
    """The turn about the vertical between rotations ``(m, 4, frames)``, over all of them."""
    q = rotations.multiply(to_turns, rotations.conjugate(from_turns))
    twist = 2.0 * np.arctan2(q[:, 2], q[:, 0])
    return float(np.arctan2(np.mean(np.sin(twist)), np.mean(np.cos(twist))))


def _aligned(target: Floats, points: Floats, yaw: float | None) -> Alignment:
    """The one turn and shift, for all frames, that fit most points; the turn may be given."""
    thin = slice(None, None, target.shape[-1] // _MOST + 1)
    one = np.moveaxis(target[..., thin], 1, 2).reshape(-1, 3)
    other = np.moveaxis(points[..., thin], 1, 2).reshape(-1, 3)
    if yaw is not None:
        turned = Alignment(yaw, 0.0, 0.0, 0.0).apply(other[..., None])[..., 0]
        x, _, z = np.median(one - turned, axis=0)
        return Alignment(yaw, float(x), float(z), 0.0)
    weights = np.ones(len(one))
    for _ in range(8):
        over = align(one, other, weights)
        off = np.linalg.norm(one - over.apply(other[..., None])[..., 0], axis=1)
        weights = 1.0 / np.maximum(off, _NEAR_M)
    return over


def rest_uneven_m(motion: Motion, found: Ints, answers: Ints) -> tuple[Floats, float]:
    """``(m,)`` how far each joint of the rest pose is from its mirror image, and as a share.

    Args:
        motion: a clip.
        found: joints.
        answers: the joint on the other side of each.

    Returns:
        Metres, and the largest of them over the extent of the pose.
    """
    skeleton = motion.clip.skeleton
    rest = Clip("rest", skeleton, 1.0, skeleton.rest_rotations[:, :, None])
    places = rotations.rotate(motion.figure.to_y_up, world(rest)[0])
    normal = _rest_normal(motion, places)[:, 0]
    one, other = places[found, :, 0], places[answers, :, 0]
    middle = 0.5 * (one.mean(axis=0) + other.mean(axis=0))
    image = one - middle - 2.0 * ((one - middle) @ normal)[:, None] * normal
    off = np.linalg.norm(image - (other - middle), axis=1)
    extent = max(float(np.ptp(places[..., 0], axis=0).max()), 1e-9)
    return off * motion.figure.metres_per_unit, float(off.max(initial=0.0)) / extent
