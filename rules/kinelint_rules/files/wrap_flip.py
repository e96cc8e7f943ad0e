"""Stored rotations run on from key to key."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from kinelint.anatomy.parts import label
from kinelint.clip import LongTurns
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion

PRACTICE = "common practice, no source"
STANDARD = "glTF 2.0 specification, appendix C"
_EULER = (LongTurns.WRAP, LongTurns.READING, LongTurns.LOCK)
_NAMES = {
    LongTurns.WRAP: "wrap",
    LongTurns.READING: "reading",
    LongTurns.LOCK: "lock",
    LongTurns.SIGN: "sign",
    LongTurns.SPLINE: "spline",
}


class WrapFlipSettings(RuleSettings):
    """Settings of `wrap-flip`."""

    detour_deg: float = setting(
        90.0,
        ge=60,
        lt=360,
        why="So much further than the poses lie apart the stored numbers turn. Wraps make 180 and "
        "more, flips to the other reading 60 and more; below 60 readers tell of none.",
        source=PRACTICE,
    )
    angles_interpolated: bool = setting(
        False,
        why="Set it for clips that are edited as curves of Euler angles, or played by a game that "
        "goes from frame to frame by them: what is a note otherwise is an error then.",
        source=PRACTICE,
    )
    components_interpolated: bool = setting(
        False,
        why="Set it if the game mixes the four numbers of quaternions without turning the second "
        "to the side of the first. Slerp by the standard goes the short way.",
        source=STANDARD,
    )


@dataclass(frozen=True, eq=False)
class _Joint:
    """The steps of one kind of one joint."""

    motion: Motion
    joint: int
    kind: int
    rows: Ints

    @property
    def turns(self) -> LongTurns:
        assert self.motion.clip.long_turns is not None
        return self.motion.clip.long_turns

    @cached_property
    def part(self) -> str:
        return self.motion.figure.anatomy.part_of.get(self.joint, "clip")

    @property
    def name(self) -> str:
        """For people: the part, or the joint that stands for none."""
        if self.part != "clip":
            return label(self.part)
        return self.motion.clip.skeleton.names[self.joint] or f"joint {self.joint}"

    @cached_property
    def worst(self) -> int:
        """Row of the longest detour."""
        return int(self.rows[np.argmax(self.detours)])

    @property
    def detours(self) -> Floats:
        return self.turns.stored_deg[self.rows] - self.turns.true_deg[self.rows]

    @property
    def frames(self) -> Ints:
        return self.turns.frames[self.rows]


class WrapFlip(Rule[WrapFlipSettings]):
    """Stored rotations run on from key to key.

    The same pose can be written in many ways: an angle of 181 degrees is one of -179, three Euler
    angles have a second reading, and a quaternion turns like its negative. Where the way changes
    from one key to the next, the poses are right, and whoever interpolates the stored numbers
    (a curve editor, slow motion, a game that mixes components) turns the long way round.

    A quaternion that changes its sign between keys of a cubic spline is always an error: by the
    standard the spline goes through the components. Between linear keys the standard goes the
    short way, so that is a note; wraps of Euler angles, which most recordings have, are a note
    too, unless the settings say that curves are drawn through them.
    """

    id = "wrap-flip"
    source = STANDARD + "; Euler angles: " + PRACTICE
    level = Level.NOTE
    quantity = "How much further the stored numbers turn than the poses lie apart, degrees."
    on_screen = "In slow motion or after an edit of the curves a joint whirls round in a moment."
    remedy = "Unwrap the channels named from the frames named on; negate the quaternions."

    @staticmethod
    def check(motion: Motion, settings: WrapFlipSettings, /) -> Iterator[Finding]:
        """Yields a finding for each joint where it is an error, else one for each kind."""
        turns = motion.clip.long_turns
        if turns is None:
            raise NotApplicable("the reader of this format does not tell how rotations are stored")
        long = turns.stored_deg - turns.true_deg > settings.detour_deg
        for kind, level in _levels(settings).items():
            of_kind = np.flatnonzero(long & (turns.kinds == kind))
            joints = [
                _Joint(motion, joint, kind, of_kind[turns.joints[of_kind] == joint])
                for joint in np.unique(turns.joints[of_kind]).tolist()
            ]
            if level is Level.ERROR:
                yield from (replace(_of_joint(one, settings), level=level) for one in joints)
            elif joints:
                yield _of_clip(joints, settings)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A clip that runs on; an angle that wraps; a cubic spline whose quaternions flip."""
        yield Example("angles that run on", _told([]))
        wrap = [("left_forearm", 12, 356.0, 4.0, LongTurns.WRAP, (0.0, 0.0, 360.0))]
        yield Example(
            "a forearm's angle wraps in a recording",
            _told(wrap),
            finds=1,
            parts=("left_forearm",),
            frames=(11, 12),
            slack_frames=0,
            measured=352.0,
            level=Level.NOTE,
        )
        yield Example(
            "the same where the clip is edited as curves",
            _told(wrap),
            settings={"angles_interpolated": True},
            finds=1,
            parts=("left_forearm",),
            measured=352.0,
            level=Level.ERROR,
        )
        spline = [
            ("right_hand", 8, 330.0, 30.0, LongTurns.SPLINE, None),
            ("right_hand", 20, 340.0, 20.0, LongTurns.SPLINE, None),
        ]
        yield Example(
            "quaternions of a cubic spline change their sign twice",
            _told(spline),
            finds=1,
            parts=("right_hand",),
            frames=(7, 20),
            slack_frames=0,
            measured=320.0,
            level=Level.ERROR,
        )
        yield Example("nothing is known of what is stored", motion(frames=30), not_applicable=True)


def _levels(settings: WrapFlipSettings) -> dict[int, Level]:
    angles = Level.ERROR if settings.angles_interpolated else Level.NOTE
    signs = Level.ERROR if settings.components_interpolated else Level.NOTE
    return {**dict.fromkeys(_EULER, angles), LongTurns.SIGN: signs, LongTurns.SPLINE: Level.ERROR}


def _of_joint(one: _Joint, settings: WrapFlipSettings) -> Finding:
    frame = int(one.turns.frames[one.worst])
    times = "" if len(one.rows) == 1 else f" in {len(one.rows)} places"
    stored = float(one.turns.stored_deg[one.worst])
    true = float(one.turns.true_deg[one.worst])
    return Finding(
        message=f"{one.name}: {_what(one.kind)}{times}; curves through the stored numbers turn by "
        f"{stored:.0f} deg where the poses are {true:.0f} deg apart",
        span=FrameSpan(int(one.frames.min()) - 1, int(one.frames.max())),
        parts=(one.part,),
        measured=float(one.detours.max()),
        limit=settings.detour_deg,
        unit="deg",
        worst_frame=frame,
        remedy=_remedy(one),
        detail=_NAMES[one.kind],
        setting="detour_deg",
        confidence=0.99 if one.kind == LongTurns.SPLINE else 0.9,
    )


def _of_clip(joints: list[_Joint], settings: WrapFlipSettings) -> Finding:
    """All joints of one kind as one finding, the longest detour first."""
    by_detour = sorted(joints, key=lambda one: -float(one.detours.max()))
    found = _of_joint(by_detour[0], settings)
    frames = np.concatenate([one.frames for one in joints])
    parts = dict.fromkeys(one.part for one in by_detour)
    more = len(joints) - 1
    others = f"; {more} more joint{'s' if more > 1 else ''} do so too" if more else ""
    return replace(
        found,
        message=found.message + others,
        span=FrameSpan(int(frames.min()) - 1, int(frames.max())),
        parts=tuple(parts),
        level=Level.NOTE,
    )


def _what(kind: int) -> str:
    return {
        LongTurns.WRAP: "a stored angle goes on a whole turn away",
        LongTurns.READING: "stored angles flip to their other reading",
        LongTurns.LOCK: "stored angles pass by a gimbal lock",
        LongTurns.SIGN: "the stored quaternion changes its sign",
        LongTurns.SPLINE: "the quaternion changes its sign between keys of a cubic spline",
    }[kind]


def _remedy(one: _Joint) -> str:
    offset = one.motion.clip.frame_offset
    first = int(one.rows[np.argmin(one.frames)])
    frame = int(one.turns.frames[first]) + offset
    more = len(one.rows) - 1
    also = f", and the same way at {more} more frame{'s' if more > 1 else ''}" if more else ""
    shifts = one.turns.shifts_deg[first]
    if one.kind == LongTurns.LOCK:
        return f"Bake the {one.name} around frame {frame}, or give it another rotation order."
    if one.kind in (LongTurns.SIGN, LongTurns.SPLINE):
        tangents = " with its tangents" if one.kind == LongTurns.SPLINE else ""
        return f"Negate the quaternion of the {one.name}{tangents} from frame {frame} on{also}."
    if not np.isfinite(shifts).all():
        return f"Unwrap the rotation channels of the {one.name} from frame {frame} on{also}."
    steps = [
        f"{axis}rotation {'+' if by > 0 else '-'}{abs(by):.0f}"
        for axis, by in zip("XYZ", shifts.tolist(), strict=True)
        if abs(by) > 0.5
    ]
    if one.kind == LongTurns.READING:
        said = ", ".join(steps)
        return f"Take the other reading of the {one.name} from frame {frame} on ({said}){also}."
    adds = " and ".join(
        f"{'add' if by > 0 else 'subtract'} {abs(by):.0f} {'to' if by > 0 else 'from'} "
        f"{axis}rotation"
        for axis, by in zip("XYZ", shifts.tolist(), strict=True)
        if abs(by) > 0.5
    )
    return f"Unwrap the {one.name} from frame {frame} on: {adds}{also}."


def _told(
    steps: Sequence[tuple[str, int, float, float, int, tuple[float, float, float] | None]],
) -> Motion:
    """A person whose stored rotations take these steps: part, frame, stored, true, kind, shifts."""
    made = motion(frames=31, sample_rate_hz=30.0)
    names = made.clip.skeleton.names
    nothing = (np.nan, np.nan, np.nan)
    turns = LongTurns(
        joints=np.array([names.index(part) for part, *_ in steps], dtype=np.intp),
        frames=np.array([one[1] for one in steps], dtype=np.intp),
        stored_deg=np.array([one[2] for one in steps]),
        true_deg=np.array([one[3] for one in steps]),
        kinds=np.array([one[4] for one in steps], dtype=np.intp),
        shifts_deg=np.array([one[5] or nothing for one in steps]).reshape(-1, 3),
    )
    return replace(made, clip=replace(made.clip, long_turns=turns))
