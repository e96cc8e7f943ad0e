"""An asset as plain values and arrays, and back with everything checked.

The way back trusts nothing: shapes, ranges of indices and the limits of `ReadOptions` are checked
before a `Clip` is made. What a reader in our own process promises by its code, one in a child
only claims. Samples that are no numbers pass: intake names their frame and joint, as for any clip.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from kinelint.clip import Asset, Clip, LongTurns, Skeleton, Skin, Source
from kinelint.finding import Note
from kinelint.kinematics.arrays import Ints
from kinelint.readers.native_plain import Plain
from kinelint.readers.native_wire import Array, Arrays, WireError
from kinelint.readers.options import ReadOptions

_LONG = ("joints", "frames", "stored_deg", "true_deg", "kinds", "shifts_deg")


def to_plain(asset: Asset, arrays: Arrays) -> dict[str, Any]:
    """The asset as JSON values; its arrays go to `arrays` and are named by number."""
    skeletons = _all_skeletons(asset)
    numbers = {id(one): number for number, one in enumerate(skeletons)}
    return {
        "skeletons": [_skeleton(one, arrays) for one in skeletons],
        "skeleton": None if asset.skeleton is None else numbers[id(asset.skeleton)],
        "clips": [_clip(one, numbers[id(one.skeleton)], arrays) for one in asset.clips],
        "skins": [_skin(one, arrays) for one in asset.skins],
        "notes": _notes(asset.notes),
    }


def _all_skeletons(asset: Asset) -> list[Skeleton]:
    """Each once: clips of one file mostly share theirs."""
    found = {id(clip.skeleton): clip.skeleton for clip in asset.clips}
    if asset.skeleton is not None:
        found[id(asset.skeleton)] = asset.skeleton
    return list(found.values())


def _skeleton(one: Skeleton, arrays: Arrays) -> dict[str, Any]:
    names = ("parents", "rest_translations", "rest_rotations", "rest_scales", "tips")
    return {
        "names": list(one.names),
        "handles": list(one.handles),
        "humanoid": dict(one.humanoid),
        **{name: arrays.add(getattr(one, name)) for name in names},
    }


def _clip(one: Clip, skeleton: int, arrays: Arrays) -> dict[str, Any]:
    source, lines = one.source, one.source.frame_lines
    shaped = ("rotations", "translated", "translations", "scaled", "scales", "key_times_s")
    return {
        "name": one.name,
        "skeleton": skeleton,
        "sample_rate_hz": float(one.sample_rate_hz),
        "start_s": float(one.start_s),
        "metres_per_unit": None if one.metres_per_unit is None else float(one.metres_per_unit),
        "up_axis": one.up_axis,
        "frame_offset": int(one.frame_offset),
        "weight_names": list(one.weight_names),
        "weights": arrays.add(one.weights),
        "media": source.media,
        "binary": bool(source.binary),
        "clip_handle": source.clip_handle,
        "frame_lines": None if lines is None else arrays.add(np.asarray(lines)),
        "notes": _notes(one.notes),
        **_long_turns(one.long_turns, arrays),
        **{name: arrays.add(getattr(one, name)) for name in shaped},
    }


def _long_turns(one: LongTurns | None, arrays: Arrays) -> dict[str, int]:
    if one is None:
        return {}
    return {f"long_{name}": arrays.add(getattr(one, name)) for name in _LONG}


def _skin(one: Skin, arrays: Arrays) -> dict[str, Any]:
    names = ("vertices", "joints", "weights", "bind_positions", "bind_rotations", "triangles")
    return {"name": one.name, **{name: arrays.add(getattr(one, name)) for name in names}}


def _notes(notes: Sequence[Note]) -> list[list[str]]:
    return [[one.topic, one.text] for one in notes]


def from_plain(said: Any, arrays: Sequence[Array], options: ReadOptions) -> Asset:
    """The asset that a header and its arrays stand for.

    Raises:
        WireError: they stand for none, or for more than the options allow.
    """
    plain = Plain("asset", said, list(arrays))
    skeletons = [_to_skeleton(one, options) for one in plain.tables("skeletons")]
    number = plain.whole_or_none("skeleton", below=len(skeletons))
    skeleton = None if number is None else skeletons[number]
    skins = tuple(_to_skin(one, skeleton) for one in plain.tables("skins"))
    clips = tuple(_to_clip(one, skeletons, options) for one in plain.tables("clips"))
    return Asset(clips, skeleton, skins, _to_notes(plain))


def _to_skeleton(plain: Plain, options: ReadOptions) -> Skeleton:
    names = plain.texts("names")
    n = len(names)
    if n > options.max_joints:
        raise WireError(f"a skeleton has {n} joints, more than the {options.max_joints} allowed")
    handles = plain.texts("handles")
    if len(handles) not in (0, n):
        raise WireError(f"{n} joints have {len(handles)} handles")
    parents = plain.indices("parents", (n,), below=n, lowest=-1)
    if np.any(parents >= np.arange(n)):
        raise WireError("a joint comes before its parent")
    return Skeleton(
        names,
        parents,
        plain.finite("rest_translations", (n, 3)),
        plain.finite("rest_rotations", (n, 4)),
        plain.finite("rest_scales", (n, 3)),
        plain.truths("tips", (n,)),
        handles,
        plain.numbers_by_name("humanoid", below=n),
    )


def _to_clip(plain: Plain, skeletons: Sequence[Skeleton], options: ReadOptions) -> Clip:
    number = plain.whole("skeleton", below=len(skeletons))
    joints = len(skeletons[number])
    rotations = plain.floats("rotations", (joints, 4, None))
    frames = rotations.shape[2]
    if frames > options.max_frames:
        raise WireError(f"a clip has {frames} frames, more than the {options.max_frames} allowed")
    translated = _joints(plain, "translated", joints)
    scaled = _joints(plain, "scaled", joints)
    weight_names = plain.texts("weight_names")
    if plain.get("up_axis") not in (None, "x", "y", "z"):
        raise WireError("up_axis is no axis")
    return Clip(
        name=plain.text("name"),
        skeleton=skeletons[number],
        sample_rate_hz=plain.number("sample_rate_hz", above=0.0),
        rotations=rotations,
        start_s=plain.number("start_s"),
        translated=translated,
        translations=_moved(plain, "translations", len(translated), frames),
        scaled=scaled,
        scales=_moved(plain, "scales", len(scaled), frames),
        metres_per_unit=plain.number_or_none("metres_per_unit", above=0.0),
        up_axis=plain.get("up_axis"),
        key_times_s=plain.finite("key_times_s", (None,)),
        weight_names=weight_names,
        weights=_weights(plain, len(weight_names), frames),
        source=_to_source(plain, frames),
        long_turns=_to_long_turns(plain, joints, frames),
        frame_offset=plain.whole("frame_offset", below=1 << 40),
        notes=_to_notes(plain),
    )


def _to_long_turns(plain: Plain, joints: int, frames: int) -> LongTurns | None:
    if plain.get("long_joints") is None:
        return None
    which = plain.indices("long_joints", (None,), below=joints)
    steps = len(which)
    return LongTurns(
        which,
        plain.indices("long_frames", (steps,), below=frames, lowest=1),
        plain.finite("long_stored_deg", (steps,)),
        plain.finite("long_true_deg", (steps,)),
        plain.indices("long_kinds", (steps,), below=LongTurns.SPLINE + 1),
        plain.floats("long_shifts_deg", (steps, 3)),
    )


def _joints(plain: Plain, key: str, joints: int) -> Ints:
    which = plain.indices(key, (None,), below=joints)
    if len(np.unique(which)) != len(which):
        raise WireError(f"{key} names a joint twice")
    return which


def _moved(plain: Plain, key: str, count: int, frames: int) -> Array:
    # Where nothing is animated, the array may have no frames either.
    return plain.floats(key, (count, 3, frames if count else None))


def _weights(plain: Plain, channels: int, frames: int) -> Array:
    return plain.floats("weights", (channels, frames if channels else None))


def _to_source(plain: Plain, frames: int) -> Source:
    lines = None
    if plain.get("frame_lines") is not None:
        lines = plain.indices("frame_lines", (frames,), below=1 << 40)
    return Source(plain.text("media"), plain.truth("binary"), plain.text("clip_handle"), lines)


def _to_skin(plain: Plain, skeleton: Skeleton | None) -> Skin:
    if skeleton is None:
        raise WireError("a skin has no skeleton")
    n = len(skeleton)
    vertices = plain.finite("vertices", (None, 3))
    count = len(vertices)
    return Skin(
        plain.text("name"),
        vertices,
        plain.indices("joints", (count, 4), below=n),
        plain.finite("weights", (count, 4)),
        plain.floats("bind_positions", (n, 3)),
        plain.floats("bind_rotations", (n, 4)),
        plain.indices("triangles", (None, 3), below=count),
    )


def _to_notes(plain: Plain) -> tuple[Note, ...]:
    return tuple(Note(*plain.pair(one)) for one in plain.items("notes"))
