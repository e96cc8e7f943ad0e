"""Overlaps that capsules flag, measured again on the figure's own skin."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.mesh_body import MeshBody, mesh_body
from kinelint.anatomy.mesh_depth import MeshDepths, depths, exact, place, volumes
from kinelint.anatomy.parts import label
from kinelint.anatomy.volume_build import RestPose
from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.motion import Motion
from kinelint_rules.contact.part_pairs import PartPair

# Frames on both sides of those in which capsules touch: a skin may be thicker than they are.
_MARGIN_S = 0.1
# How often the posed skin is measured; shallower overlaps are left as the grids have them.
_POSED_EVERY_S = 0.4
_LEAST_M = 0.008
# Scales that change by more over the clip bend a skin in ways that its joints do not tell.
_STEADY_RATIO = 0.02


@dataclass(frozen=True, eq=False)
class Skinned:
    """The skin of a motion's figure, if overlaps can be measured on it.

    Attributes:
        body: None without a skin that can be used.
        note: why a skin that is there is not used, or not everywhere.
    """

    body: MeshBody | None
    note: Note | None = None


def skinned(motion: Motion) -> Skinned:
    """To be asked for through `motion.derive(skinned)`."""
    figure, skeleton = motion.figure, motion.clip.skeleton
    if not any(len(skin.triangles) for skin in figure.skins):
        return Skinned(None)
    if _is_rescaled(motion):
        return Skinned(None, _note("the clip's scales change over time"))
    rest = RestPose.of(skeleton, figure.metres_per_unit, figure.to_y_up)
    body = mesh_body(figure, skeleton, rest.positions_m)
    if body is None:
        return Skinned(None, _note("no scale of it is known"))
    if not body.is_whole:
        return Skinned(None, _note("it is made of rigid pieces that do not join"))
    return Skinned(body, _unclosed(body, motion))


def confirmed(motion: Motion, pairs: Iterator[PartPair]) -> Iterator[PartPair]:
    """The pairs, with the depths of the skin wherever both parts have a volume on it."""
    body = motion.derive(skinned).body
    for pair in pairs:
        yield pair if body is None else _measured(motion, body, pair)


@dataclass(frozen=True, eq=False)
class Measured(PartPair):
    """A pair whose depths are those of the skin.

    Attributes:
        body: the skin's volumes.
        found: on the frames that were measured.
        rows: ``(frames,)`` row of `found`, -1 where it was not measured.
    """

    body: MeshBody
    found: MeshDepths
    rows: Ints
    on_mesh = True

    def place(self, motion: Motion, frame: int) -> tuple[Floats, Floats]:
        """World point of the overlap and the direction that clears it."""
        pair = volumes(self.body, self.parts)
        row = int(self.rows[frame])
        if isinstance(pair, str) or row < 0:
            return super().place(motion, frame)
        now = slice(frame, frame + 1)
        pose = motion.positions_m[..., now], motion.orientations[..., now]
        point, way = place(pair, self.found, row, *pose)
        if not way.any() and self.entries[frame] >= 0:
            way = super().place(motion, frame)[1]
        return point, way if way.any() else np.array([0.0, 1.0, 0.0])


def _measured(motion: Motion, body: MeshBody, pair: PartPair) -> PartPair:
    frames = _around(pair.depth_mm > 0.0, round(_MARGIN_S * motion.sample_rate_hz))
    pose = motion.positions_m[..., frames], motion.orientations[..., frames]
    found = depths(body, pair.parts, *pose)
    if isinstance(found, str):
        return pair
    depth, rows = np.zeros(motion.frames), np.full(motion.frames, -1, dtype=np.intp)
    share = _share_of_posed(motion, body, pair.parts, frames, found)
    depth[frames] = 1000.0 * np.maximum(share * found.depth_m - found.at_rest_m, 0.0)
    rows[frames] = np.arange(len(frames))
    at_rest_mm = 1000.0 * found.at_rest_m
    return Measured(pair.parts, depth, pair.entries, at_rest_mm, body, found, rows)


def _share_of_posed(
    motion: Motion, body: MeshBody, parts: tuple[str, str], frames: Ints, found: MeshDepths
) -> Floats:
    """``(k,)`` what the skin as it is posed has of the rigid pieces' depth.

    Measured at the deepest frame of each overlap, at its ends, and in between at short intervals.
    """
    pair = volumes(body, parts)
    share = np.ones(len(frames))
    deep = found.depth_m > found.at_rest_m + _LEAST_M
    if isinstance(pair, str) or not deep.any():
        return share
    gaps = np.r_[True, np.diff(frames) > 1] | np.r_[True, deep[1:] != deep[:-1]]
    for run in np.split(np.arange(len(frames)), np.flatnonzero(gaps)[1:]):
        if not deep[run[0]]:
            continue
        count = 2 + int(len(run) / (_POSED_EVERY_S * motion.sample_rate_hz))
        keys = np.linspace(run[0], run[-1], count).round().astype(np.intp)
        keys = np.unique(np.r_[keys, run[np.argmax(found.depth_m[run])]])
        at = [slice(frames[key], frames[key] + 1) for key in keys]
        posed = [
            exact(pair, motion.positions_m[..., one], motion.orientations[..., one]) for one in at
        ]
        share[run] = np.interp(run, keys, np.array(posed) / found.depth_m[keys])
    return share


def _around(flags: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], margin: int) -> Ints:
    """``(k,)`` indices that are flagged, or within a margin of one that is."""
    ones = np.concatenate(([0], np.cumsum(flags)))
    index = np.arange(len(flags))
    low, high = np.maximum(index - margin, 0), np.minimum(index + margin + 1, len(flags))
    return np.flatnonzero(ones[high] > ones[low])


def _is_rescaled(motion: Motion) -> bool:
    scales = np.abs(motion.clip.scales)
    if not scales.size:
        return False
    least, most = scales.min(axis=2), scales.max(axis=2)
    return bool(np.any(most - least > _STEADY_RATIO * np.maximum(most, 1e-9)))


def _unclosed(body: MeshBody, motion: Motion) -> Note | None:
    """Which parts are measured on capsules though there is a skin."""
    volume = motion.figure.body
    names = sorted(set(volume.parts)) if volume else []
    why: dict[str, list[str]] = {}
    for name in names:
        fault = body.fault(name)
        if fault:
            why.setdefault(fault, []).append(label(name))
    if not why:
        return None
    told = "; ".join(f"{', '.join(parts)}: {fault}" for fault, parts in why.items())
    text = f"overlaps of these parts are measured on capsules, not on the mesh: {told}"
    return Note("body-model", text)


def _note(why: str) -> Note:
    return Note("body-model", f"overlaps are measured on capsules, not on the mesh: {why}")
