"""What must hold of every input, however broken: the same for property tests and for fuzzing.

A motion file gives clips that hold together, or exactly one AssetError with file and mend; a
policy or cue sheet gives itself, or a PolicyError with file and line. Nothing else may come out.
"""

from __future__ import annotations

import unicodedata
import warnings
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from kinelint import registry
from kinelint.clip import Asset, Clip, Skeleton, Skin
from kinelint.cues import load_sheet
from kinelint.errors import AssetError, KinelintError, PolicyError, PolicyErrors, ReportError
from kinelint.finding import Note
from kinelint.intake import prepare
from kinelint.outputs.json_report import dump, load
from kinelint.policy import load_policy
from kinelint.readers import ReadOptions, read

# Small limits, so that what breaks them is small as well.
TIGHT = ReadOptions(
    max_bytes=8 << 20, max_frames=5_000, max_joints=300, max_seconds=20.0, max_memory_bytes=64 << 20
)
# Bindings of native libraries take some memory for themselves.
TIGHT_NATIVE = replace(TIGHT, max_memory_bytes=512 << 20)
MOST_TEXT = 2_000
MOST_NOTES = 40
# How the reader's door words a fault of ours, and what it says when memory ends.
OURS = ("the reader failed on it", "needs more memory than there is")


class Broken(AssertionError):  # noqa: N818 - as people say it
    """The program did with an input what it may do with none."""


def hold(condition: object, what: str) -> None:
    """Raises Broken unless the condition holds."""
    if not condition:
        raise Broken(what)


def read_and_check(path: Path, options: ReadOptions = TIGHT) -> Asset | AssetError:
    """Reads a motion file, holds what comes out to the rules, and returns it."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            asset = read(path, options)
        except AssetError as error:
            try:
                check_asset_error(error, path)
            except Broken as broken:
                raise broken from error
            return error
        check_asset(asset, options)
        for clip in asset.clips:
            check_prepared(clip, path)
    return asset


def check_asset_error(error: AssetError, path: Path) -> None:
    """One AssetError, by itself enough to find and mend the fault."""
    hold(type(error) is AssetError, f"{type(error).__name__} instead of AssetError")
    hold(not any(word in error.what for word in OURS), f"an error of ours: {error!r}")
    hold(error.path == str(path), f"names {error.path!r}")
    check_error(error)


def check_error(error: KinelintError) -> None:
    """One line, not too long, what is wrong and how to mend it."""
    hold(error.what and not error.what.endswith("."), f"says {error.what!r}")
    hold(error.mend, f"no mend for {error.what!r}")
    short = str(error).removeprefix(error.path)
    hold(len(short) <= MOST_TEXT, f"{len(short)} characters")
    check_text(error.what, "error")
    check_text(error.place, "place")


def check_text(text: str, what: str) -> None:
    """Text that any report can hold and no terminal obeys."""
    text.encode("utf-8")
    odd = [one for one in text if unicodedata.category(one) in ("Cc", "Zl", "Zp")]
    hold(not odd, f"the {what} holds {odd[:3]!r}: {text[:200]!r}")


def check_asset(asset: Asset, options: ReadOptions = TIGHT) -> None:
    """Clips, skeleton and skins that hold together."""
    check_notes(asset.notes)
    if asset.skeleton is not None:
        check_skeleton(asset.skeleton, options)
    names = [clip.name for clip in asset.clips]
    hold(len(set(names)) == len(names), "two clips have one name")
    for clip in asset.clips:
        check_skeleton(clip.skeleton, options)
        check_clip(clip, options)
    for skin in asset.skins:
        hold(asset.skeleton is not None, "a skin without skeleton")
        assert asset.skeleton is not None
        check_skin(skin, len(asset.skeleton))


def check_notes(notes: tuple[Note, ...]) -> None:
    """Few, and each of a length that people read."""
    hold(len(notes) <= MOST_NOTES, f"{len(notes)} notes")
    for note in notes:
        note.text.encode("utf-8")
        hold(len(note.text) <= MOST_TEXT, f"a note of {len(note.text)} characters")


def check_skeleton(skeleton: Skeleton, options: ReadOptions) -> None:
    """Parents before children, numbers finite, rotations of length 1."""
    n = len(skeleton)
    hold(1 <= n <= options.max_joints, f"{n} joints")
    hold(np.all(skeleton.parents < np.arange(n)), "a parent after its child")
    hold(np.all(np.isfinite(skeleton.rest_translations)), "a rest translation is not finite")
    hold(np.all(np.isfinite(skeleton.rest_scales)), "a rest scale is not finite")
    lengths = np.linalg.norm(skeleton.rest_rotations, axis=1)
    hold(np.all(np.abs(lengths - 1.0) < 1e-6), "a rest rotation is no unit quaternion")
    hold(len(skeleton.handles) in (0, n), "handles for some joints only")
    for name in skeleton.names:
        name.encode("utf-8")
    hold(all(0 <= joint < n for joint in skeleton.humanoid.values()), "a bone without joint")


def check_clip(clip: Clip, options: ReadOptions) -> None:
    """Frames as the file has them, one rate, curves that belong to joints."""
    hold(1 <= clip.frames <= options.max_frames, f"{clip.frames} frames")
    hold(np.isfinite(clip.sample_rate_hz) and clip.sample_rate_hz > 0.0, "no sample rate")
    hold(np.isfinite(clip.start_s) and np.isfinite(clip.duration_s), "no time")
    for which, values in ((clip.translated, clip.translations), (clip.scaled, clip.scales)):
        hold(np.all(np.diff(which) > 0), "curves out of order")
        hold(not len(which) or 0 <= which[0] <= which[-1] < len(clip.skeleton), "no such joint")
        hold(not len(which) or values.shape == (len(which), 3, clip.frames), "curves cut short")
    hold(len(clip.weight_names) == len(clip.weights), "weights without name")
    hold(clip.weights.shape[1] == clip.frames or not len(clip.weights), "weights cut short")
    hold(np.all(np.diff(clip.key_times_s) > 0.0), "key times out of order")
    lines = clip.source.frame_lines
    if lines is not None:
        hold(len(lines) == clip.frames and lines[0] >= 1, "frames without line")
        hold(np.all(np.diff(lines) >= 0), "lines out of order")
    clip.name.encode("utf-8", "surrogateescape")
    check_notes(clip.notes)


def check_skin(skin: Skin, joints: int) -> None:
    """Vertices that follow joints of the skeleton."""
    n = len(skin.vertices)
    hold(np.all(np.isfinite(skin.vertices)), "a vertex is not finite")
    hold(skin.joints.shape == skin.weights.shape == (n, 4), "influences cut short")
    hold(not n or 0 <= skin.joints.min() <= skin.joints.max() < joints, "no such joint")
    hold(np.allclose(skin.weights.sum(axis=1), 1.0), "weights do not sum to 1")
    corners = skin.triangles
    hold(not len(corners) or 0 <= corners.min() <= corners.max() < n, "no such vertex")


def check_prepared(clip: Clip, path: Path) -> None:
    """Intake lets samples through that are finite and unit, or names the one that is not."""
    try:
        prepared = prepare(clip).clip
    except AssetError as error:
        hold(error.place, f"no place: {error}")
        check_error(error.at(str(path)))
        return
    lengths = np.einsum("jcf,jcf->jf", prepared.rotations, prepared.rotations)
    hold(np.all(np.abs(lengths - 1.0) < 2e-3), "a rotation is no unit quaternion")
    for values in (prepared.translations, prepared.scales):
        hold(np.all(np.isfinite(values)), "a sample is not finite")


@cache
def rules() -> dict[str, registry.Registered]:
    """All installed rules."""
    return dict(registry.load())


def load_and_check(path: Path, kind: str) -> PolicyError | None:
    """Loads a policy ("policy") or a cue sheet ("cues"); None if there is nothing to say of it."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            loaded = load_policy(path, rules()) if kind == "policy" else load_sheet(path)
            use(loaded)
        except PolicyErrors as errors:
            hold(len(errors.problems) <= 100, f"{len(errors.problems)} problems")
            for one in errors.problems:
                check_policy_error(one, path)
            return errors
        except PolicyError as error:
            check_policy_error(error, path)
            return error
    return None


def use(loaded: object) -> None:
    """Does with a policy or cue sheet what a run does with it."""
    from kinelint.cues import CueSheet, CueSheets
    from kinelint.policy import Policy

    if isinstance(loaded, CueSheet):
        for asset, clip in (("crew/walk.bvh", "walk"), ("a" * 200 + ".glb", "a" * 200)):
            CueSheets((loaded,)).cue(asset, clip)
        return
    assert isinstance(loaded, Policy)
    for asset, clip in (("crew/walk.bvh", "walk"), ("a" * 200 + ".glb", "a" * 200)):
        demands = loaded.demands(asset, clip, "locomotion")
        hold(demands.rules, "a policy without rules")
        loaded.skeleton(loaded.skeleton_entries(asset, "0123456789abcdef"))
    hold(loaded.setups, "a policy without setups")


def check_policy_error(error: KinelintError, path: Path) -> None:
    """A PolicyError that names the file and a line of it."""
    hold(type(error) is PolicyError, f"{type(error).__name__} instead of PolicyError")
    hold(error.path == str(path), f"names {error.path!r}")
    hold(error.what and not error.what.endswith("."), f"says {error.what!r}")
    hold(len(str(error).removeprefix(error.path)) <= MOST_TEXT, "a text beyond reading")
    check_text(error.what, "error")


def load_report_and_check(path: Path) -> ReportError | None:
    """Reads a report back; None if it is one."""
    try:
        loaded = load(path.read_bytes())
    except ReportError as error:
        hold(error.what and error.mend, f"says {error.what!r}")
        hold(len(str(error)) <= MOST_TEXT, "a text beyond reading")
        return error
    hold(loaded == load(dump(loaded)), "a report that does not survive")
    return None
