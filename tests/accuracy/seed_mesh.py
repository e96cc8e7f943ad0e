"""Arms pushed into real skinned characters, and what `penetration` says with and without the skin.

    python tests/accuracy/seed_mesh.py [FOLDER]

The truth is libigl's: the skin is posed with SciPy, cut by parts, closed by caps, and each part's
surface, vertices and 2,000 points between, is held against the other's. An arm is turned inward
about the axis from front to back, smoothly within half a second, by the angle at which the deepest
new overlap of its hand or forearm with trunk or thigh is as deep as asked.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from scipy.spatial.transform import Rotation

from accuracy.clips import Subject, data_folder, subjects
from accuracy.libigl_depth import depth_mm
from accuracy.rig import Rig, min_jerk
from kinelint.anatomy.mesh_body import MeshBody, Volume
from kinelint.assemble import figure_of
from kinelint.engine.skins import fitted
from kinelint.finding import Finding
from kinelint.intake import prepare
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint_rules.contact.on_mesh import skinned
from kinelint_rules.contact.penetration import Penetration, PenetrationSettings

SIZES_MM = (5.0, 12.5, 20.0, 40.0)
ARM = ("hand", "forearm")
TARGETS = ("pelvis", "abdomen", "thorax")
HALF_S = 0.25


@dataclass(frozen=True, eq=False)
class Pushed:
    """One seed: what is true, and what was said."""

    name: str
    parts: tuple[str, str]
    true_mm: float
    on_mesh: float | None
    on_capsules: float | None


def pushed(subject: Subject, side: str, size_mm: float) -> Pushed | None:
    """The seed in the middle of a clip; None where the arm cannot get there."""
    motion = Motion(subject.motion.clip, replace(subject.figure, skins=subject.skins))
    body = motion.derive(skinned).body
    if body is None or motion.frames < 12 or motion.clip.is_scaled:
        return None
    frame = motion.frames // 2
    pairs = _pairs(body, side)
    before = {pair: max(_true(body, pair, motion, frame), _at_rest(body, pair)) for pair in pairs}
    low, high = 0.0, None
    for degrees in np.arange(4.0, 100.0, 4.0):
        if _deepest(body, before, _turned(motion, side, degrees, frame), frame)[0] >= size_mm:
            high = degrees
            break
        low = degrees
    if high is None:
        return None
    for _ in range(7):
        middle = 0.5 * (low + high)
        deep = _deepest(body, before, _turned(motion, side, middle, frame), frame)[0]
        low, high = (low, middle) if deep >= size_mm else (middle, high)
    made = _turned(motion, side, high, frame)
    true, pair = _deepest(body, before, made, frame)
    if true > 1.3 * size_mm or before[pair] - _at_rest(body, pair) > 1.0:
        return None  # the arm jumped in, or was in before
    said = [_said(made, pair, frame, mesh) for mesh in (True, False)]
    return Pushed(f"{subject.name} {side}", pair, true, *said)


def _pairs(body: MeshBody, side: str) -> list[tuple[str, str]]:
    found = [(f"{side}_{arm}", target) for arm in ARM for target in (*TARGETS, f"{side}_thigh")]
    return [pair for pair in found if all(isinstance(body.volume(p), Volume) for p in pair)]


def _turned(motion: Motion, side: str, degrees: float, frame: int) -> Motion:
    rig = Rig.of(motion.clip, motion.figure)
    joint = rig.joint(f"{side}_upper_arm")
    ahead = np.cross(
        rig.places[rig.joint("left_upper_arm")] - rig.places[rig.joint("right_upper_arm")],
        [0.0, 1.0, 0.0],
    )
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    weight = min_jerk(2.0 - np.abs(rig.times - rig.times[frame]) / HALF_S)
    sign = -1.0 if side == "left" else 1.0
    turn = Rotation.from_rotvec(sign * np.radians(degrees) * weight[:, None] * ahead)
    rig.turn_to({joint: turn * rig.turns[joint]})
    return Motion(rig.made(), motion.figure)


def _true(body: MeshBody, pair: tuple[str, str], motion: Motion, frame: int) -> float:
    return depth_mm(body, pair, motion.positions_m[..., frame], motion.orientations[..., frame])


def _at_rest(body: MeshBody, pair: tuple[str, str]) -> float:
    return depth_mm(body, pair, np.nan_to_num(body.bind_m), np.nan_to_num(body.turns))


def _deepest(
    body: MeshBody, before: dict[tuple[str, str], float], motion: Motion, frame: int
) -> tuple[float, tuple[str, str]]:
    return max((_true(body, pair, motion, frame) - was, pair) for pair, was in before.items())


def _said(motion: Motion, pair: tuple[str, str], frame: int, mesh: bool) -> float | None:
    settings = PenetrationSettings(mesh=mesh)
    found = [one for one in Penetration.check(motion, settings) if isinstance(one, Finding)]
    for one in found:
        trace = one.trace
        if one.parts == pair and trace and one.span.first <= frame <= one.span.last:
            return trace.values[frame - trace.first]
    return None


def crew() -> Iterator[Subject]:
    """The example's clips on its body file."""
    example = Path(__file__).resolve().parents[2] / "example_project"
    asset = read(example / "crew_body.glb")
    for path in sorted((example / "clips").rglob("*.bvh")):
        clip = prepare(read(path).clips[0]).clip
        scale = figure_of([clip]).metres_per_unit
        skins = fitted(asset, clip.skeleton, scale)
        if skins:
            motion = Motion(clip, figure_of([clip], skins=skins))
            yield Subject("crew_body", "bvh", motion, (clip,), skins)


def seeds(folder: Path, most: int = 4) -> Iterator[tuple[float, Pushed]]:
    """Each size in some clips of each skinned character."""
    count: dict[str, int] = {}
    for subject in (*crew(), *subjects(folder, (".glb",))):
        if not subject.skins or count.get(subject.file, 0) >= most:
            continue
        some = False
        for side in ("left", "right"):
            for size_mm in SIZES_MM:
                one = pushed(subject, side, size_mm)
                if one is not None:
                    some = True
                    yield size_mm, one
        count[subject.file] = count.get(subject.file, 0) + some


def main(folder: Path) -> None:
    """A line a seed, then recall and size error by size."""
    rows = []
    for size_mm, one in seeds(folder):
        rows.append((size_mm, one))
        told = ["-" if v is None else f"{v:.1f}" for v in (one.on_mesh, one.on_capsules)]
        arm, other = one.parts
        print(
            f"{one.name:40}{arm:16}{other:12}{one.true_mm:7.1f}{told[0]:>8}{told[1]:>8}", flush=True
        )
    for size_mm in SIZES_MM:
        these = [one for size, one in rows if size == size_mm]
        for way in ("on_mesh", "on_capsules"):
            off = [abs(getattr(one, way) - one.true_mm) for one in these if getattr(one, way)]
            median = float(np.median(off)) if off else float("nan")
            found = f"{len(off)} of {len(these)} said"
            print(f"{size_mm:5.1f} mm {way:12}{found:>16}, size off by {median:.1f} mm (median)")


if __name__ == "__main__":
    main(data_folder(sys.argv[1:]))
