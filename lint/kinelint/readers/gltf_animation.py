"""glTF animations to clips: every channel sampled at the clip's one uniform rate."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kinelint.clip import Clip, LongTurns, Source
from kinelint.finding import Note
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers import long_turns, sampling
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_channels import WIDTHS, Animation, Channel
from kinelint.readers.gltf_document import Document
from kinelint.readers.gltf_extensions import few
from kinelint.readers.gltf_nodes import SCALE_NOISE, Nodes
from kinelint.readers.gltf_skeleton import Rig
from kinelint.readers.gltf_weights import WeightReader, target_count
from kinelint.readers.options import ReadOptions

# Of size. Float32 leaves 1e-7 of a constant; real exports taken apart from matrices leave 4e-6.
_TRANSLATION_NOISE = 1e-5
_UNIT_NOISE = 0.02
_SCALAR_FIRST = [3, 0, 1, 2]
_CLIP_BYTES = 4096  # of a clip without frames
_TARGET_BYTES = 256  # of a morph target's name and curve without frames


@dataclass
class ClipMaker:
    """Makes the clips of one file, which share its skeleton and its key times."""

    document: Document
    accessors: Accessors
    nodes: Nodes
    rig: Rig
    weights: WeightReader
    media: str
    options: ReadOptions
    _times: dict[int, Floats] = field(default_factory=dict)

    def make(self, animations: list[Animation], names: list[str]) -> tuple[Clip, ...]:
        """A clip of each.

        Raises:
            AssetError: key times that do not rise, values that do not match them, too many frames.
        """
        keys = [self._all_keys(one) for one in animations]
        plans = [sampling.plan(one, self.options.sample_rate_hz) for one in keys]
        # All plans are checked before the first frame is made.
        for animation, plan in zip(animations, plans, strict=True):
            self._check(plan, animation)
        return tuple(map(self._clip, animations, names, keys, plans))

    def _clip(self, animation: Animation, name: str, keys: Floats, plan: sampling.Plan) -> Clip:
        at = {
            index: sampling.lookup(self._times[index], plan.times_s, plan.tolerance_s)
            for index in {one.keys for one in animation.channels}
        }
        notes = [*animation.notes, *_sampling_notes(plan)]
        return Clip(
            name=name,
            skeleton=self.rig.skeleton,
            sample_rate_hz=plan.rate_hz,
            start_s=plan.start_s,
            metres_per_unit=1.0,
            up_axis="y",
            key_times_s=keys,
            source=Source(self.media, self.media == "glb", f"/animations/{animation.index}"),
            **self._moved(animation, at, plan, notes),
            notes=tuple(notes),
        )

    def _all_keys(self, animation: Animation) -> Floats:
        """The times of all channels, sorted, each once."""
        # One channel for each accessor of times; an error shall name the first.
        inputs = {one.keys: one for one in reversed(animation.channels)}
        times = [self._keys(one) for one in reversed(inputs.values())]
        return times[0] if len(times) == 1 else np.unique(np.concatenate(times))

    def _keys(self, channel: Channel) -> Floats:
        """Checked key times ``(keys,)``; places name the first sampler that uses them."""
        if channel.keys not in self._times:
            place = f"{channel.place}/input"
            count = len(self.accessors.raw(channel.keys, 1, place))
            self.accessors.budget.spend(8 * count, place, f"asks for {count} keys")
            times = self.accessors.floats(channel.keys, 1, place)[:, 0]
            if not np.all(np.isfinite(times)):
                key = int(np.argmin(np.isfinite(times)))
                raise self.document.error(f"key {key} has no finite time", place)
            if np.any(np.diff(times) <= 0.0):
                key = int(np.argmax(np.diff(times) <= 0.0)) + 1
                what = f"key times must rise: key {key} at {times[key]:g} s does not"
                raise self.document.error(what, place)
            self._times[channel.keys] = times
        return self._times[channel.keys]

    def _check(self, plan: sampling.Plan, animation: Animation) -> None:
        frames, place = plan.steps + 1, f"/animations/{animation.index}"
        if frames > self.options.max_frames:
            what = (
                f"{plan.end_s - plan.start_s:g} s at {plan.asked_hz:g} Hz are {frames} frames, "
                f"more than the {self.options.max_frames} that may be read"
            )
            mend = "Split the file, or raise the limit of frames."
            raise self.document.error(what, place, mend)
        joints, targets, moved, stored = len(self.rig.nodes), 0, 0, 0
        for one in animation.channels:
            keys = len(self._times[one.keys]) * (3 if one.mode == "CUBICSPLINE" else 1)
            if one.path == "weights":
                driven = target_count(one, self.accessors, len(self._times[one.keys]))
                targets += driven
                stored += 8 * keys * driven
            else:
                moved += one.path != "rotation"
                stored += 12 * keys * WIDTHS[one.path]
        need = 8 * frames * (4 * joints + 3 * moved + targets) + _TARGET_BYTES * targets + stored
        what = f"{frames} frames of {joints} joints and {targets} morph targets"
        self.accessors.budget.spend(need + _CLIP_BYTES, place, what)

    def _moved(
        self,
        animation: Animation,
        at: Mapping[int, sampling.Lookup],
        plan: sampling.Plan,
        notes: list[Note],
    ) -> dict[str, Any]:
        """The clip's arrays: rotations, translations, scales, weights."""
        frames, long = plan.steps + 1, long_turns.Gathered()
        turned = np.repeat(self.rig.skeleton.rest_rotations[..., None], frames, axis=-1)
        moved: dict[str, dict[int, Floats]] = {"translation": {}, "scale": {}}
        strays = empty = 0
        for (path, keys, mode), channels in self._groups(animation).items():
            joints = [self.rig.joint_of[one.node] for one in channels]
            curves = self._curves(channels, path, mode)
            if path == "rotation":
                strays += int(np.sum(_not_unit(curves[1])))
                zero = (curves[1] == 0.0).all(axis=1).any(axis=1)
                empty += int(np.sum(zero))
                sampled = _sampled_rotations(curves, mode, at[keys])
                if zero.any():
                    _keep_zeros(sampled, curves[1], zero)
                turned[joints] = sampled
                long.add(_long_turns(curves[1], joints, mode, self._times[keys], plan))
            else:
                moved[path].update(self._off_rest(path, joints, curves, mode, at[keys]))
        if empty:
            text = f"{empty} rotation channels hold quaternions of zero length, which turn nowhere"
            notes.append(Note("rotations", f"{text}; such a clip is not judged"))
        if strays:
            text = f"{strays} rotation channels hold quaternions that are not of length 1"
            notes.append(Note("rotations", f"{text}; they were normalised"))
        weights = self.weights.read(animation, self._times, at)
        notes += [*weights.notes, *long.notes()]
        translated, translations = _listed(moved["translation"], (3, frames))
        scaled, scales = _listed(moved["scale"], (3, frames))
        if len(scaled):
            names = few([self.nodes.label(self.rig.nodes[joint]) for joint in scaled.tolist()])
            notes.append(Note("scale-keys", f"joints change their scale: {names}"))
        return {
            "rotations": turned,
            "long_turns": long.turns(),
            "translated": translated,
            "translations": translations,
            "scaled": scaled,
            "scales": scales,
            "weight_names": tuple(weights.names),
            "weights": np.array(weights.curves) if weights.curves else np.empty((0, frames)),
        }

    def _groups(self, animation: Animation) -> dict[tuple[str, int, str], list[Channel]]:
        """Channels that one call can sample: same property, key times and mode."""
        groups: dict[tuple[str, int, str], list[Channel]] = defaultdict(list)
        for one in animation.channels:
            if one.path in WIDTHS and one.node in self.rig.joint_of:
                groups[one.path, one.keys, one.mode].append(one)
        return groups

    def _curves(
        self, channels: list[Channel], path: str, mode: str
    ) -> tuple[Floats, Floats, Floats]:
        """In-tangents, values, out-tangents, each ``(channels, components, keys)``."""
        keys, width = len(self._times[channels[0].keys]), WIDTHS[path]
        rows = keys * 3 if mode == "CUBICSPLINE" else keys
        stacked = self.accessors.stacked([one.values for one in channels], width, rows)
        if stacked is None:
            read = self.accessors.values
            stored = [read(one.values, width, f"{one.place}/output") for one in channels]
            stacked = _checked(stored, channels, rows, mode, self.document)
        return split_curves(stacked.reshape(len(channels), rows, width), mode)

    @cached_property
    def _rest(self) -> dict[str, tuple[Floats, Floats]]:
        """Of all joints the rest pose and how far noise leaves it, ``(joints, 3, 1)`` each."""
        skeleton = self.rig.skeleton
        scales, shifts = skeleton.rest_scales, skeleton.rest_translations
        own = np.linalg.norm(shifts, axis=1, keepdims=True)
        noise = np.broadcast_to(_TRANSLATION_NOISE * np.maximum(self.rig.size, own), shifts.shape)
        unlike = SCALE_NOISE * np.maximum(1.0, np.abs(scales))
        return {
            "translation": (shifts[..., None], noise[..., None]),
            "scale": (scales[..., None], unlike[..., None]),
        }

    def _off_rest(
        self,
        path: str,
        joints: list[int],
        curves: tuple[Floats, Floats, Floats],
        mode: str,
        at: sampling.Lookup,
    ) -> dict[int, Floats]:
        """``(3, frames)`` of those joints whose curves ever leave the rest pose."""
        rest, noise = (one[joints] for one in self._rest[path])
        # Between keys that rest nothing moves, unless by tangents.
        judged = _sampled(curves, mode, at) if mode == "CUBICSPLINE" else curves[1]
        # Written so that a NaN counts as leaving: intake is to see it.
        off = ~(np.abs(judged - rest) <= noise).all(axis=(1, 2))
        frames = judged[off]
        if mode != "CUBICSPLINE":
            frames = _sampled((frames, frames, frames), mode, at)
        return dict(zip(np.array(joints)[off].tolist(), frames, strict=True))


def split_curves(stacked: NDArray[Any], mode: str) -> tuple[Floats, Floats, Floats]:
    """In-tangents, values, out-tangents ``(channels, components, keys)`` of stored outputs.

    Args:
        stacked: ``(channels, rows, components)``, three rows a key if there are tangents.
        mode: without CUBICSPLINE the three are one array.
    """
    if mode != "CUBICSPLINE":
        values = stacked.astype(np.float64).transpose(0, 2, 1)
        return values, values, values
    count, rows, width = stacked.shape
    triples = stacked.astype(np.float64).reshape(count, rows // 3, 3, width).transpose(2, 0, 3, 1)
    return triples[0], triples[1], triples[2]


def _checked(
    stored: list[NDArray[Any]],
    channels: list[Channel],
    rows: int,
    mode: str,
    document: Document,
) -> NDArray[Any]:
    """Outputs of `rows` each, as one array."""
    for one, values in zip(channels, stored, strict=True):
        if len(values) != rows:
            keys = rows // 3 if mode == "CUBICSPLINE" else rows
            what = f"{keys} keys of {mode} need {rows} values, found {len(values)}"
            raise document.error(what, f"{one.place}/output")
    return np.stack(stored)


def _sampled(curves: tuple[Floats, Floats, Floats], mode: str, at: sampling.Lookup) -> Floats:
    if mode == "CUBICSPLINE":
        return sampling.cubic(*curves, at)
    return (sampling.step if mode == "STEP" else sampling.linear)(curves[1], at)


def _sampled_rotations(
    curves: tuple[Floats, Floats, Floats], mode: str, at: sampling.Lookup
) -> Floats:
    """Scalar first and unit, from the file's scalar last."""
    if mode == "CUBICSPLINE":
        inward, values, outward = (one[:, _SCALAR_FIRST] for one in curves)
        return rotations.normalise(sampling.cubic(inward, values, outward, at))
    values = curves[1][:, _SCALAR_FIRST]
    still = (values == values[..., :1]).all(axis=(1, 2))
    out = np.empty((*values.shape[:2], len(at.before)))
    out[still] = rotations.normalise(values[still, :, :1])
    if mode == "LINEAR":
        out[~still] = sampling.linear_rotation(values[~still], at)
    else:
        out[~still] = sampling.step(rotations.normalise(values[~still]), at)
    return out


def _long_turns(
    values: Floats, joints: list[int], mode: str, times_s: Floats, plan: sampling.Plan
) -> LongTurns:
    """Keys ``(channels, 4, keys)`` that change their sign, where something is between keys."""
    if mode == "STEP" or values.shape[-1] < 2:
        return LongTurns()
    frames = np.searchsorted(plan.times_s, times_s - plan.tolerance_s)
    kind = LongTurns.SPLINE if mode == "CUBICSPLINE" else LongTurns.SIGN
    frames = np.minimum(frames, plan.steps)
    return long_turns.of_quaternions(values, np.array(joints), frames, kind)


def _not_unit(values: Floats) -> NDArray[np.bool_]:
    lengths = np.einsum("cqk,cqk->ck", values, values)
    off = (np.abs(lengths - 1.0) > 2.0 * _UNIT_NOISE) & (lengths > 0.0)
    return np.asarray(off.any(axis=-1))


def _keep_zeros(sampled: Floats, values: Floats, zero: NDArray[np.bool_]) -> None:
    """Frames that hang on a key of zero length are of zero length: intake names them so.

    In a channel that holds what is no number too, they stay as they are.
    """
    for row in np.flatnonzero(zero & np.isfinite(values).all(axis=(1, 2))):
        lost = np.isnan(sampled[row]).any(axis=0)
        sampled[row][:, lost] = 0.0


def _listed(moved: dict[int, Floats], shape: tuple[int, ...]) -> tuple[Ints, Floats]:
    joints = sorted(moved)
    values = np.array([moved[joint] for joint in joints]) if joints else np.empty((0, *shape))
    return np.array(joints, dtype=np.intp), values


def _sampling_notes(plan: sampling.Plan) -> list[Note]:
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
