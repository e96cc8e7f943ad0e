"""One hand that holds one prop for a while: how the prop lies in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.cue import Box, Held, Rod
from kinelint.errors import NotApplicable
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint_rules.props.fist import Fist, fist
from kinelint_rules.props.props import (
    Frame,
    PropMotion,
    column,
    frames_of,
    prop_motion,
    typical_place,
    typical_turn,
)

# Of a prop whose thickness the sheet does not tell: a handle (common practice, no source).
_HANDLE_M = 0.02


@dataclass(frozen=True, eq=False)
class Hold:
    """A hold.

    Attributes:
        held: what the cue sheet says.
        prop, fist: what is held, and what holds.
        first, last: frames, both included.
        seen: the prop's axes as seen from the hand, over these frames.
        typical: ``(4, 1)`` the turn that the prop has in the hand most of the time.
        point_m: ``(3, 1)`` of the prop, in its own axes: what is to be in the fist.
        path_m: ``(3, n)`` that point in the hand's axes.
        usual_m: ``(3, 1)`` where it is most of the time.
        radius_m: of the prop there.
    """

    held: Held
    prop: PropMotion
    fist: Fist
    first: int
    last: int
    seen: Frame
    typical: Floats
    point_m: Floats
    path_m: Floats
    usual_m: Floats
    radius_m: float

    @property
    def name(self) -> str:
        """The prop for people."""
        return self.prop.prop.name

    @property
    def is_flat(self) -> bool:
        """Whether palms press on its faces: a box without a grip for this hand."""
        prop = self.prop.prop
        return isinstance(prop.bulk, Box) and not self.held.grip and not prop.grips

    def world(self, points_m: Floats, frame: int) -> Floats:
        """``(3,)`` a point ``(3, 1)`` of the hand's axes in the world at a frame of the clip."""
        axes = self.fist.frame.cut(frame, frame)
        return np.asarray(axes.out(points_m)[:, 0])

    def off_m(self) -> Floats:
        """``(3, 1)`` how far the hand usually is from where it should hold, in its own axes."""
        if not self.is_flat:
            return self.fist.off_m(self.usual_m, self.radius_m)
        bulk = self.prop.prop.bulk
        assert isinstance(bulk, Box)
        gap, normal = self.face()
        return -gap * rotations.rotate(self.typical, normal)

    def face(self) -> tuple[float, Floats]:
        """Of a box: metres from the palm to the nearest face, and the way out of it ``(3, 1)``.

        Negative if the hand is inside.
        """
        bulk = self.prop.prop.bulk
        assert isinstance(bulk, Box)
        half = 0.5 * column(bulk.size_m)
        at = self.point_m - column(bulk.middle_m)
        beyond = np.abs(at) - half
        if np.all(beyond <= 0.0):
            axis = int(np.argmax(beyond))
            normal = np.zeros((3, 1))
            normal[axis] = 1.0 if at[axis, 0] >= 0.0 else -1.0
            return float(beyond[axis, 0]) - self.fist.thick_m, normal
        out = np.sign(at) * np.maximum(beyond, 0.0)
        length = float(np.linalg.norm(out))
        return length - self.fist.thick_m, out / length


def hold(motion: Motion, held: Held) -> Hold | None:
    """The hold that an entry of the sheet speaks of; None if it lies outside the clip.

    To be asked for through `motion.derive`.

    Raises:
        NotApplicable: prop, hand or grip are not there.
    """
    span = frames_of(motion, held)
    if span is None:
        return None
    prop, hand = motion.derive(prop_motion, held.prop), motion.derive(fist, held.hand)
    seen = hand.frame.cut(*span).seen(prop.frame.cut(*span))
    typical = typical_turn(seen.turn)
    bulk = prop.prop.bulk
    radius = bulk.radius_m if isinstance(bulk, Rod) else _HANDLE_M
    # Where the middle of the bulk usually is, and not the joint, which may be far away.
    middle = typical_place(seen.out(prop.middle_m))
    usual = Frame(middle - rotations.rotate(typical, prop.middle_m), typical)
    point = _point(held, prop, hand, usual, radius)
    path = seen.out(point)
    return Hold(held, prop, hand, *span, seen, typical, point, path, typical_place(path), radius)


def _point(held: Held, prop: PropMotion, hand: Fist, usual: Frame, radius_m: float) -> Floats:
    """``(3, 1)`` what of the prop is to be in the fist, in the prop's axes."""
    what = prop.prop
    if held.grip:
        grip = what.grip(held.grip)
        if grip is None:
            raise NotApplicable(f"the {what.name} has no grip called {held.grip!r}")
        return column(grip)
    aim = rotations.unrotate(usual.turn, hand.aim_m(radius_m) - usual.place_m)
    if what.grips:
        places = [column(place) for _, place in what.grips]
        return min(places, key=lambda place: float(np.linalg.norm(place - aim)))
    if isinstance(what.bulk, Rod):
        start, way = column(what.bulk.from_m), column(what.bulk.to_m) - column(what.bulk.from_m)
        share = float(np.sum((aim - start) * way)) / max(float(np.sum(way * way)), 1e-12)
        return start + min(max(share, 0.0), 1.0) * way
    if isinstance(what.bulk, Box):
        return np.asarray(rotations.unrotate(usual.turn, hand.reach_m * hand.along - usual.place_m))
    return np.zeros((3, 1))
