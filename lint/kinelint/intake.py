"""What must hold before any rule may judge, and what is set aside first.

A NaN is never greater than a limit, so a rule would pass it in silence: every sample must be
finite before a rule sees it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.clip import LARGEST, Clip
from kinelint.errors import AssetError
from kinelint.finding import Note
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats

# A reference pose at the head of a take is near the rest pose, and the step away from it is a jump
# of a moment (some tools ease it over a few frames). Common practice, no source; the numbers were
# chosen on
# 25 public takes, 5 of which begin so, and on those of them at 120 Hz with frames left out.
MOVED_DEG = 3.0
NEAR_DEG = 10.0
SHARE_NEAR_REST = 0.65
JUMP_DEG = 6.0
TIMES_USUAL_STEP = 5.0
TIMES_SETTLED_STEP = 2.0
LONGEST_JUMP_S = 0.1
# A jump is large against what follows at once, too: against the steps of this time. The usual step
# of a fast take at 30 Hz is as large as a jump.
CALM_S = 0.2


@dataclass(frozen=True)
class Prepared:
    """A clip that rules may judge, and what was set aside to make it so."""

    clip: Clip
    notes: tuple[Note, ...] = ()


def prepare(clip: Clip) -> Prepared:
    """The clip without a leading reference pose, every sample checked.

    Raises:
        AssetError: a sample is not finite or a rotation has no length; names frame and joint.
    """
    refuse_bad_samples(clip)
    lead = reference_frames(clip)
    if not lead:
        return Prepared(clip)
    which = "frame 0 is" if lead == 1 else f"frames 0 to {lead - 1} are"
    text = f"{which} a reference pose (the rest pose, then a jump) and not judged"
    return Prepared(clip.cut(lead, clip.frames - 1), (Note("reference-pose", text),))


def refuse_bad_samples(clip: Clip) -> None:
    """Every sample finite, every rotation of length 1.

    Raises:
        AssetError: naming the first bad frame and its joint.
    """
    everyone = np.arange(len(clip.skeleton))
    for what, values, joints in (
        ("rotation", clip.rotations, everyone),
        ("translation", clip.translations, clip.translated),
        ("scale", clip.scales, clip.scaled),
    ):
        # One pass for what nearly every clip is; written so that a NaN counts as too large.
        if values.size and not max(values.max(), -values.min()) <= LARGEST:
            _refuse(clip, what, "is not a number", ~np.isfinite(values).all(axis=1), joints)
            absurd = (np.abs(values) > LARGEST).any(axis=1)
            _refuse(clip, what, f"is beyond {LARGEST:g}", absurd, joints)
    length = np.einsum("jcf,jcf->jf", clip.rotations, clip.rotations)
    if np.abs(length - 1.0).max(initial=0.0) > 1e-3:
        _refuse(clip, "rotation", "is a quaternion of zero length", length == 0.0, everyone)
        _refuse(clip, "rotation", "has no unit length", np.abs(length - 1.0) > 1e-3, everyone)
    _refuse_explosion(clip)


def _refuse_explosion(clip: Clip) -> None:
    """Scales that multiply down a chain to no size that a figure could have."""
    if not clip.is_scaled:
        return
    skeleton = clip.skeleton
    own = np.abs(skeleton.rest_scales).max(axis=1)
    if len(clip.scaled):
        own[clip.scaled] = np.maximum(own[clip.scaled], np.abs(clip.scales).max(axis=(1, 2)))
    sizes = np.log10(np.maximum(own, 1e-30))
    for joint, parent in enumerate(skeleton.parents.tolist()):
        sizes[joint] += max(sizes[parent], 0.0) if parent >= 0 else 0.0
        if sizes[joint] > np.log10(LARGEST):
            name = skeleton.names[joint] or f"joint {joint}"
            raise AssetError(
                f"the scales down to {name!r} multiply to more than {LARGEST:g}",
                place=f"clip {clip.name!r}",
                mend="Export the clip again, or take it out of the tree.",
            )


def _refuse(clip: Clip, what: str, fault: str, bad: object, joints: object) -> None:
    rows, frames = np.nonzero(np.asarray(bad))
    if not rows.size:
        return
    first = int(np.argmin(frames))
    joint = int(np.asarray(joints)[rows[first]])
    frame = int(frames[first])
    lines = clip.source.frame_lines
    line = "" if lines is None else f", line {lines[frame]}"
    name = clip.skeleton.names[joint] or f"joint {joint}"
    raise AssetError(
        f"the {what} of {name!r} {fault}",
        place=f"clip {clip.name!r}, frame {frame + clip.frame_offset}{line}",
        mend="Export the clip again, or take it out of the tree.",
    )


def reference_frames(clip: Clip) -> int:
    """How many leading frames are the rest pose and the jump away from it; 0 for most clips."""
    moving = ~clip.skeleton.tips & (clip.skeleton.parents >= 0)
    if clip.frames < 4 or not moving.any():
        return 0
    local = clip.rotations[moving]
    rest = clip.skeleton.rest_rotations[moving][..., None]
    from_rest = np.degrees(rotations.angle_between(rest, local[..., :1]))[:, 0]
    # A joint that never leaves the rest pose says nothing.
    ever = np.degrees(rotations.angle_between(rest, local[..., 1:50])).max(axis=1) > MOVED_DEG
    if not ever.any() or np.mean(from_rest[ever] < NEAR_DEG) < SHARE_NEAR_REST:
        return 0
    steps = _large_steps_deg(local[..., :400])
    usual = float(np.median(steps[1:]))
    settled = np.flatnonzero(steps <= max(TIMES_SETTLED_STEP * usual, 1.0))
    if not settled.size:
        return 0
    lead = int(settled[0])
    calm = steps[lead : lead + max(round(CALM_S * clip.sample_rate_hz), 2)]
    if steps[0] <= max(JUMP_DEG, TIMES_USUAL_STEP * min(usual, float(np.median(calm)))):
        return 0
    return lead if lead == 1 or lead <= LONGEST_JUMP_S * clip.sample_rate_hz else 0


def _large_steps_deg(local: Floats) -> Floats:
    """``(frames - 1,)`` how far joints turn in each step, all but a noisy tenth of them."""
    turned = np.degrees(rotations.angle_between(local[..., :-1], local[..., 1:]))
    return np.asarray(np.quantile(turned, 0.9, axis=0))
