"""Takes of an FBX scene to clips: the binding evaluates, this samples and lays out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import chain, repeat
from typing import Any

import numpy as np

from kinelint.clip import Clip, Skeleton, Source
from kinelint.errors import AssetError
from kinelint.finding import Note
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers import fbx_timing, sampling
from kinelint.readers.fbx_binding import counted, few
from kinelint.readers.fbx_chain import Chain, Locals, Tree, chained
from kinelint.readers.fbx_nodes import Joints, Nodes
from kinelint.readers.fbx_takes import KeyTimes, Take, spans
from kinelint.readers.options import ReadOptions

# Of size. Float32 leaves 1e-7 of a constant; real exports taken apart from matrices leave 8e-6.
_NOISE = 1e-5
_CONSTANT = 1e-8
# A few bytes can ask for any number of frames; this is 10 GB of them at the most.
_MOST_JOINT_FRAMES = 120_000_000


@dataclass(frozen=True, eq=False)
class Planned:
    """A take with its frames laid out: `keys_s` ``(keys,)`` within it, and how many are not.

    `file_hz` is the rate of the file, None if it says none.
    """

    take: Take
    keys_s: Floats
    outside: int
    plan: sampling.Plan
    file_hz: float | None


@dataclass
class Planner:
    """Decides which takes become clips, and at which times they are sampled."""

    joints: Joints
    file_hz: float | None
    options: ReadOptions
    keys: KeyTimes = field(default_factory=KeyTimes)
    _joint_frames: int = 0

    def plan(self, take: Take) -> Planned | None:
        """None for a take that moves no joint and no blend shape.

        Raises:
            AssetError: it has more frames than may be read.
        """
        moved = (take.moved[node] for node in take.moved if node in self.joints.joint_of)
        keys = self.keys.of(chain.from_iterable([*moved, *take.weights.values()]))
        if not len(keys):
            return None
        begin, end = spans(take, keys)
        self._check(take, begin, end, len(take.weights))
        within = keys[(keys >= begin - 1e-6) & (keys <= end + 1e-6)]
        plan = fbx_timing.plan(
            begin, end, np.clip(within, begin, end), self.file_hz, self.options.sample_rate_hz
        )
        self._check(take, begin, end, len(take.weights), plan)
        self._joint_frames += (plan.steps + 1) * (len(self.joints) + len(take.weights))
        return Planned(take, within, len(keys) - len(within), plan, self.file_hz)

    def _check(
        self,
        take: Take,
        begin: float,
        end: float,
        channels: int,
        plan: sampling.Plan | None = None,
    ) -> None:
        """First at the least rate, before anything is laid out; then at the rate found."""
        rate = 1.0 if plan is None else plan.asked_hz
        frames = (end - begin) * rate + 1.0
        wide = len(self.joints) + channels
        if frames > self.options.max_frames or (
            frames * wide + self._joint_frames > _MOST_JOINT_FRAMES
        ):
            what = (
                f"{end - begin:g} s at {rate:g} Hz are {frames:.0f} frames of {len(self.joints)} "
                f"joints and {channels} blend shapes, more than may be read"
            )
            mend = "Shorten the take, split the file, or raise the limit of frames."
            raise AssetError(what, place=f"take {take.name!r}", mend=mend)


@dataclass(frozen=True, eq=False)
class Sampled:
    """A take's transforms, and its blend-shape weights ``(channels, frames)``."""

    local: Locals
    weight_names: tuple[str, ...]
    weights: Floats


def sample(
    planned: Planned, nodes: Nodes, joints: Joints, rest: Locals, channels: Mapping[int, Any]
) -> Sampled:
    """Ask the binding for every moved joint at every frame.

    Args:
        planned: the take.
        nodes: of the scene.
        joints: of the skeleton.
        rest: where nothing is animated, one frame.
        channels: element id to name and channel (see `fbx_takes.weight_channels`).
    """
    take, times = planned.take, fbx_timing.frame_times(planned.plan, planned.keys_s)
    asked = times.tolist()
    shifts, scales = rest.shifts.copy(), rest.scales.copy()
    turns = np.repeat(rest.turns, len(asked), axis=-1)
    moved: dict[int, Floats] = {}
    scaled: dict[int, Floats] = {}
    for node in take.moved:
        joint = joints.joint_of.get(node)
        if joint is not None:
            rows = _rows(nodes.objects[node].evaluate_transform, take.anim, asked, 10)
            turns[joint] = continuous(rotations.normalise(rows[[6, 3, 4, 5]]))
            shifts[joint], scales[joint] = rows[:3, 0], rows[7:, :1]
            moved |= {joint: rows[:3].copy()} if _changes(rows[:3]) else {}
            scaled |= {joint: rows[7:].copy()} if _changes(rows[7:]) else {}
    if scaled:
        scales = np.repeat(scales, len(asked), axis=-1)
        for joint, values in scaled.items():
            scales[joint] = values
    moving = np.array(sorted(moved), dtype=np.intp)
    paths = np.array([moved[joint] for joint in moving.tolist()]).reshape(-1, 3, len(asked))
    driven = [channels[one] for one in take.weights if one in channels]
    weights = [
        np.fromiter(map(one.evaluate_blend_weight, repeat(take.anim), asked), float, len(asked))
        for _, one in driven
    ]
    names = tuple(name for name, _ in driven)
    shape = (len(names), len(asked))
    return Sampled(
        Locals(shifts, moving, paths, turns, scales), names, np.array(weights).reshape(shape)
    )


def _rows(evaluate: Any, anim: Any, times: list[float], width: int) -> Floats:
    """``(width, frames)`` of nested tuples, flattened without a Python loop over frames."""
    found = chain.from_iterable(chain.from_iterable(map(evaluate, repeat(anim), times)))
    flat = np.fromiter(found, np.float64, len(times) * width)
    return np.ascontiguousarray(flat.reshape(-1, width).T)


def _changes(values: Floats) -> bool:
    """Whether ``(3, frames)`` ever leave their first value; a NaN counts as leaving."""
    first = values[:, :1]
    return not np.all(np.abs(values - first) <= _CONSTANT * np.maximum(np.abs(first), 1e-3))


def continuous(turns: Floats) -> Floats:
    """Quaternions ``(4, frames)`` with the signs that leave no jump: q and -q turn alike."""
    same = np.sum(turns[:, 1:] * turns[:, :-1], axis=0) >= 0.0
    signs = np.cumprod(np.concatenate(([1.0], np.where(same, 1.0, -1.0))))
    return np.asarray(turns * signs)


def make_clip(
    planned: Planned,
    name: str,
    sampled: Sampled,
    skeleton: Skeleton,
    tree: Tree,
    source: Source,
    up_axis: str | None,
) -> Clip:
    """The clip of one take."""
    plan, frames = planned.plan, sampled.local.frames
    chain = chained(tree, sampled.local)
    translated, translations = _moves(chain, skeleton, frames)
    scaled = np.flatnonzero(tree.stays)
    off = _off(chain.scales, skeleton.rest_scales[scaled], 1.0)
    return Clip(
        name=name,
        skeleton=skeleton,
        sample_rate_hz=plan.rate_hz,
        rotations=sampled.local.turns,
        start_s=plan.start_s,
        translated=translated,
        translations=translations,
        scaled=scaled[off],
        scales=np.broadcast_to(chain.scales[off], (len(off), 3, frames)),
        metres_per_unit=1.0,
        up_axis=up_axis,
        key_times_s=planned.keys_s,
        weight_names=sampled.weight_names,
        weights=sampled.weights,
        source=source,
        notes=(*planned.take.notes, *_notes(planned, tree, skeleton, sampled.local.scales)),
    )


def _moves(chain: Chain, skeleton: Skeleton, frames: int) -> tuple[Ints, Floats]:
    """Joints whose offset is not always that of the rest pose, and their offsets over time."""
    size, rest = _size(skeleton), skeleton.rest_translations
    moving = chain.moving[_off(chain.moved, rest[chain.moving], size)]
    still = np.setdiff1d(_off(chain.shifts[..., None], rest, size), chain.moving)
    translated = np.union1d(moving, still).astype(np.intp)
    row = {int(joint): i for i, joint in enumerate(chain.moving)}
    paths = np.empty((len(translated), 3, frames))
    for i, joint in enumerate(translated.tolist()):
        paths[i] = chain.moved[row[joint]] if joint in row else chain.shifts[joint][:, None]
    return translated, paths


def _size(skeleton: Skeleton) -> float:
    lengths = np.linalg.norm(skeleton.rest_translations, axis=1)
    return float(np.median(lengths[lengths > 0.0])) if np.any(lengths > 0.0) else 1.0


def _off(values: Floats, rest: Floats, size: float) -> Ints:
    """Rows of ``(rows, 3, frames)`` that ever leave ``(rows, 3)``; a NaN counts as leaving."""
    noise = _NOISE * np.maximum(size, np.linalg.norm(rest, axis=1))
    near = np.abs(values - rest[..., None]) <= noise[:, None, None]
    return np.flatnonzero(~np.all(near, axis=(1, 2)))


def _notes(planned: Planned, tree: Tree, skeleton: Skeleton, scales: Floats) -> list[Note]:
    notes, plan = [], planned.plan
    if planned.outside:
        text = f"left out what lies outside the take's own time: {counted(planned.outside, 'key')}"
        notes.append(Note("sampling", text))
    file_hz = planned.file_hz
    if file_hz and plan.key_rate_hz and abs(plan.asked_hz / file_hz - 1.0) > 0.01:
        text = f"the file's frame rate is {file_hz:.5g} Hz, its keys stand on frames at"
        text = f"{text} {plan.key_rate_hz:.5g} Hz; sampled at {plan.rate_hz:.5g} Hz"
        notes.append(Note("sampling", text))
    if plan.key_rate_hz is None:
        text = f"the keys lie on no uniform grid; sampled at {plan.rate_hz:.5g} Hz"
        notes.append(Note("sampling", text))
    elif abs(plan.rate_hz / plan.asked_hz - 1.0) > 1e-3:
        text = f"sampled at {plan.rate_hz:.5g} instead of {plan.asked_hz:.5g} Hz"
        notes.append(Note("sampling", f"{text}, so that a frame stands on the take's last moment"))
    if not tree.plain:
        ratio = np.abs(scales / np.where(tree.even, tree.even, 1.0)[:, None, None] - 1.0)
        lost = np.flatnonzero((ratio.max(axis=(1, 2)) > 1e-4) & ~tree.stays)
        if len(lost):
            names = few(skeleton.names[joint] for joint in lost)
            text = f"the scale of {counted(len(lost), 'joint')} was written into positions"
            notes.append(Note("scale", f"{text}: {names}"))
    return notes
