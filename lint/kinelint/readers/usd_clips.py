"""Takes to clips: every array sampled at the clip's one uniform rate."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from kinelint.clip import Clip, LongTurns, Source
from kinelint.finding import Note
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.readers import sampling
from kinelint.readers.long_turns import Gathered, of_quaternions
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd_animation import JOINT_ARRAYS
from kinelint.readers.usd_animation import Source as Animation
from kinelint.readers.usd_bindings import Take, few
from kinelint.readers.usd_skeleton import Rig
from kinelint.readers.usd_space import parts
from kinelint.readers.usd_stage import Scene

# Of size. Float32 leaves 1e-7 of a constant, and 1 is exact as a half.
_TRANSLATION_NOISE = 1e-5
_SCALE_NOISE = 1e-5
_UNIT_NOISE = 0.02
_LEAST_DURATION_S = 1e-3
_MOST_SECONDS = 1e9


@dataclass(frozen=True, eq=False)
class Timing:
    """The frames of one clip.

    Attributes:
        keys: ``(keys,)`` time codes.
        plan: the frames that stand for them.
        codes: ``(frames,)`` time codes; exactly a key's where a frame stands on one.
        notes: what was set aside.
    """

    keys: Floats
    plan: sampling.Plan
    codes: Floats
    notes: list[Note]


@dataclass
class ClipMaker:
    """Makes the clips of one file."""

    scene: Scene
    options: ReadOptions
    _bytes: int = 0
    _moved: dict[str, dict[int, Floats]] = field(default_factory=dict)
    _long: Gathered = field(default_factory=Gathered)

    def make(self, takes: list[Take], names: list[str]) -> tuple[Clip, ...]:
        """A clip of each.

        Raises:
            AssetError: arrays that do not fit their joints, too many frames, no usable time.
        """
        sources = [
            None if take.animation is None else Animation(take.animation, self.scene.error)
            for take in takes
        ]
        # All timings are checked before the first frame is made.
        timings = [self._timing(*one) for one in zip(takes, sources, strict=True)]
        return tuple(map(self._clip, takes, sources, names, timings))

    def _timing(self, take: Take, source: Animation | None) -> Timing:
        notes: list[Note] = []
        codes = [take.rig.space.codes, source.codes() if source else np.empty(0)]
        keys = np.unique(np.concatenate(codes))
        rate = self.scene.codes_per_second
        if not np.all(np.isfinite(keys)):
            raise self.scene.error("a time sample has no finite time", take.path)
        if len(keys) and not keys[-1] / rate - keys[0] / rate < _MOST_SECONDS:
            what = f"its keys go from {keys[0]:g} to {keys[-1]:g}, more time than may be read"
            raise self.scene.error(what, take.path, "Mend the time samples.")
        keys = self._in_range(keys, notes) if len(keys) else np.zeros(1)
        plan = sampling.plan(keys / rate, self.options.sample_rate_hz)
        self._check(plan, take, source)
        notes += sampling_notes(plan)
        at = sampling.lookup(keys / rate, plan.times_s, plan.tolerance_s)
        frames = np.where(at.between, plan.times_s * rate, keys[at.before])
        return Timing(keys, plan, frames, notes)

    def _in_range(self, keys: Floats, notes: list[Note]) -> Floats:
        """The keys inside the authored range; its ends too where they cut a gap between keys."""
        stage = self.scene.stage
        if not stage.HasAuthoredTimeCodeRange():
            return keys
        start, end = float(stage.GetStartTimeCode()), float(stage.GetEndTimeCode())
        inside = keys[(keys >= start) & (keys <= end)]
        ends = [one for one in (start, end) if keys[0] < one < keys[-1]]
        # A range of one moment is what exporters write that do not know the length.
        if not start < end or not (len(inside) or ends):
            text = f"the stage lasts from {start:g} to {end:g}; the keys were read all the same"
            notes.append(Note("time-range", text))
            return keys
        if len(inside) < len(keys):
            text = f"{len(keys) - len(inside)} of {len(keys)} keys lie outside"
            text = f"{text} startTimeCode {start:g} to endTimeCode {end:g} and were set aside"
            notes.append(Note("time-range", text))
        elif (end - start) > (keys[-1] - keys[0]) + 1e-6 and len(keys) > 1:
            text = f"the stage lasts from {start:g} to {end:g}, the keys from {keys[0]:g} to"
            notes.append(Note("time-range", f"{text} {keys[-1]:g}: only these were read"))
        return np.unique(np.concatenate((inside, ends)))

    def _check(self, plan: sampling.Plan, take: Take, source: Animation | None) -> None:
        frames, joints = plan.steps + 1, len(take.rig.skeleton)
        duration = plan.end_s - plan.start_s
        if 0.0 < duration < _LEAST_DURATION_S:
            what = f"all keys lie within {duration:g} s"
            mend = "Set timeCodesPerSecond to the rate of the time codes."
            raise self.scene.error(what, take.path, mend)
        if frames > self.options.max_frames:
            what = f"{duration:g} s at {plan.asked_hz:g} Hz are {frames} frames"
            mend = "Split the file, or raise the limit of frames."
            raise self.scene.error(f"{what}, more than may be read", take.path, mend)
        # A few lines can ask for any number of frames of any number of joints.
        moved, shapes = (len(source.joints), len(source.shapes)) if source else (1, 0)
        self._bytes += 8 * frames * (4 * joints + 12 * moved + 2 * shapes)
        most = self.options.memory_for(self.scene.layers.size)
        if self._bytes > most:
            what = f"{frames} frames of {joints} joints and {shapes} blend shapes take"
            what = f"{what} {self._bytes >> 20} MB with the clips before them, more than"
            what = f"{what} the {most >> 20} MB that a file of this size may take"
            raise self.scene.error(what, take.path, "Split the file.")

    def _clip(self, take: Take, source: Animation | None, name: str, timing: Timing) -> Clip:
        rig, scene, plan = take.rig, self.scene, timing.plan
        frames = plan.steps + 1
        turned = np.repeat(rig.skeleton.rest_rotations[..., None], frames, -1)
        self._moved, self._long = {"translations": {}, "scales": {}}, Gathered()
        notes = [*rig.notes, *timing.notes]
        if rig.space.moves:
            turned[0] = self._space(rig, timing.codes, notes)
        if source is not None:
            self._joints(source, rig, timing.codes, turned, notes)
        shape = (frames,)
        arrays: dict[str, Any] = {}
        for which, listed in (("translations", "translated"), ("scales", "scaled")):
            joints = sorted(self._moved[which])
            values = [np.broadcast_to(self._moved[which][one], (3, frames)) for one in joints]
            arrays[listed] = np.array(joints, dtype=np.intp)
            arrays[which] = np.array(values) if values else np.empty((0, 3, *shape))
        weights = self._weights(source, timing.codes) if source else np.empty((0, *shape))
        clip = Clip(
            name=name,
            skeleton=rig.skeleton,
            sample_rate_hz=plan.rate_hz,
            rotations=turned,
            start_s=plan.start_s,
            metres_per_unit=scene.metres_per_unit,
            up_axis=scene.up_axis,
            key_times_s=timing.keys / scene.codes_per_second,
            weight_names=tuple(source.shapes) if source else (),
            long_turns=self._long.turns(),
            weights=weights,
            source=Source(scene.media, scene.media != "usda", take.path),
            **arrays,
        )
        return replace(clip, notes=(*notes, *self._long.notes()))

    def _space(self, rig: Rig, codes: Floats, notes: list[Note]) -> Floats:
        """Rotations ``(4, frames)`` of joint 0, whose other parts are put among the moved ones."""
        shifts, turned, scales, sheared = parts(rig.space.at(codes))
        if sheared:
            text = f"the transform of {rig.path} is sheared in {sheared} frames"
            notes.append(Note("shear", f"{text}; the shear was left out"))
        self._keep("translations", rig, 0, shifts.T)
        self._keep("scales", rig, 0, scales.T)
        return turned.T

    def _joints(
        self, source: Animation, rig: Rig, codes: Floats, turned: Floats, notes: list[Note]
    ) -> None:
        """Write rotations into `turned`; put what else moves among the moved parts."""
        notes += _animation_notes(source, rig)
        # Of a joint that is listed more than once the last column stays, as in UsdSkel.
        listed = enumerate(source.joints)
        column_of = {rig.joint_of[token]: i for i, token in listed if token in rig.joint_of}
        joints, columns = list(column_of), list(column_of.values())
        blocked = np.zeros(len(codes), dtype=np.bool_)
        for name in JOINT_ARRAYS:
            if name in source.missing:
                continue
            values, nothing = source.joint_array(name, codes)
            # UsdSkel plays the rest pose wherever one of the three says nothing.
            blocked |= nothing
            # Joint by joint, which stays in the processor's cache.
            strays = empty = 0
            for column, joint in zip(columns, joints, strict=True):
                own = values[:, column].T.astype(np.float64)
                if name == "rotations":
                    strays += _turn(own, turned[joint])
                    self._long.add(_long_turns(turned[joint], joint))
                    empty += bool((own == 0.0).all(axis=0).any())
                else:
                    self._keep(name, rig, joint, own)
            if empty:
                many = "1 joint has" if empty == 1 else f"{empty} joints have"
                text = f"{many} rotations of zero length, which turn nowhere"
                notes.append(Note("rotations", f"{text}; such a clip is not judged"))
            if strays:
                many = "1 joint has" if strays == 1 else f"{strays} joints have"
                text = f"{many} rotations that are not of length 1"
                notes.append(Note("rotations", f"{text}; they were normalised"))
        if source.odd_types:
            text = f"{', '.join(source.odd_types)}, not what the schema wants"
            text = f"{text} (UsdSkel itself plays only the rest pose then)"
            notes.append(Note("animation", text))
        if blocked.any():
            self._rest(rig, joints, blocked, turned)
            text = f"{int(blocked.sum())} frames hold no values, only a block; they are at rest"
            notes.append(Note("blocked", text))

    def _rest(self, rig: Rig, joints: list[int], frames: Bools, turned: Floats) -> None:
        """Put `joints` back to rest at those frames."""
        rest = rig.skeleton
        still = rest.rest_rotations[joints, :, None]
        turned[joints] = np.where(frames, still, turned[joints])
        for name, moved in self._moved.items():
            for joint in set(moved) & set(joints):
                own = getattr(rest, f"rest_{name}")[joint]
                moved[joint] = np.where(frames, own[:, None], moved[joint])

    def _keep(self, which: str, rig: Rig, joint: int, own: Floats) -> None:
        """Remember ``(3, frames or 1)`` of a joint if it ever leaves the rest pose."""
        if which == "scales":
            rest = rig.skeleton.rest_scales[joint]
            noise = _SCALE_NOISE * np.maximum(1.0, np.abs(rest))
        else:
            rest = rig.skeleton.rest_translations[joint]
            noise = np.full(3, _TRANSLATION_NOISE * max(rig.size, float(np.linalg.norm(rest))))
        # Written so that a NaN counts as leaving: intake is to see it.
        if not np.all(np.abs(own - rest[:, None]) <= noise[:, None]):
            self._moved[which][joint] = own

    def _weights(self, source: Animation, codes: Floats) -> Floats:
        if not source.prim.GetAttribute("blendShapeWeights").HasValue():
            return np.zeros((len(source.shapes), len(codes)))
        return np.array(np.broadcast_to(source.weights(codes), (len(source.shapes), len(codes))))


def _turn(stored: Floats, into: Floats) -> bool:
    """Write quaternions ``(4, frames or 1)``, scalar last, as unit ones; whether they were not.

    One of zero length stays so: intake then refuses it by that name.
    """
    lengths = np.sqrt(np.sum(stored * stored, axis=0))
    by = np.where(lengths == 0.0, 1.0, lengths)
    with np.errstate(invalid="ignore"):
        into[0] = stored[3] / by
        into[1:] = stored[:3] / by
    return bool(np.any((np.abs(lengths - 1.0) > _UNIT_NOISE) & (lengths > 0.0)))


def _long_turns(turned: Floats, joint: int) -> LongTurns:
    """Where ``(4, frames)`` change their sign: USD itself goes from key to key the short way."""
    frames = np.arange(turned.shape[-1])
    return of_quaternions(turned[None], np.array([joint]), frames, LongTurns.SIGN)


def _animation_notes(source: Animation, rig: Rig) -> Iterator[Note]:
    own, foreign = set(source.joints), [one for one in source.joints if one not in rig.joint_of]
    still = len(rig.tokens) - len(own & rig.joint_of.keys())
    if still:
        text = f"{still} of {len(rig.tokens)} joints are not animated and stay at rest"
        yield Note("joints", text)
    twice = [one for one, times in Counter(source.joints).items() if times > 1]
    if twice:
        text = f"joints that the animation lists more than once go by the last: {few(twice)}"
        yield Note("joints", text)
    if foreign:
        text = f"animated joints that the skeleton does not have were left out: {few(foreign)}"
        yield Note("joints", text)
    if source.missing:
        text = f"{', '.join(source.missing)} are not authored and were taken from the rest pose"
        yield Note("animation", f"{text} (UsdSkel itself plays only the rest pose then)")


def sampling_notes(plan: sampling.Plan) -> list[Note]:
    """How the frames differ from the keys."""
    notes = []
    if plan.key_rate_hz is None:
        text = f"the keys lie on no uniform grid; sampled at {plan.rate_hz:.4g} Hz"
        notes.append(Note("sampling", text))
    elif plan.asked_hz > plan.key_rate_hz * 1.01:
        text = f"keys at {plan.key_rate_hz:.4g} Hz, sampled at {plan.rate_hz:.4g} Hz"
        notes.append(Note("sampling", text))
    if abs(plan.rate_hz / plan.asked_hz - 1.0) > 1e-3:
        text = f"sampled at {plan.rate_hz:.5g} instead of {plan.asked_hz:.5g} Hz"
        notes.append(Note("sampling", f"{text}, so that a frame stands on the last key"))
    return notes
