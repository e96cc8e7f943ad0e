"""Carries a clip and its skins into USD: a small writer, for comparing readings of one motion."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from pxr import Gf, Tf, UsdSkel, Vt

from kinelint.clip import Clip, Skeleton, Skin
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from readers.usd_maker import UsdMaker, shift, worlds


def tokens_of(skeleton: Skeleton) -> list[str]:
    """A path for each joint, made of its name, of names that USD allows."""
    tokens: list[str] = []
    taken: set[str] = set()
    for joint, parent in enumerate(skeleton.parents.tolist()):
        name = Tf.MakeValidIdentifier(skeleton.names[joint] or f"end_{joint}")
        token = f"{tokens[parent]}/{name}" if parent >= 0 else name
        tokens.append(token if token not in taken else f"{token}_{joint}")
        taken.add(tokens[-1])
    return tokens


def carried(clip: Clip, metres_per_unit: float, skins: Sequence[Skin] = ()) -> UsdMaker:
    """The clip on one skeleton, keyed at every frame, at rest as its skeleton is."""
    maker = UsdMaker()
    rate = clip.sample_rate_hz
    maker.header(metersPerUnit=metres_per_unit, upAxis="Y", timeCodesPerSecond=rate)
    maker.header(startTimeCode=0.0, endTimeCode=float(clip.frames - 1))
    maker.root()
    skeleton, tokens = clip.skeleton, tokens_of(clip.skeleton)
    rest = local_matrices(skeleton)
    bind = worlds(tokens, rest)
    if skins:
        bound = np.isfinite(skins[0].bind_positions[:, 0])
        bind[bound] = matrices(skins[0].bind_positions[bound], skins[0].bind_rotations[bound])
    maker.skeleton(joints=tokens, rest=rest, bind=bind)
    moved = np.repeat(skeleton.rest_translations[..., None], clip.frames, axis=-1)
    moved[clip.translated] = clip.translations
    keep(maker, tokens, clip.rotations, moved)
    for number, skin in enumerate(skins):
        maker.mesh(
            f"/Crew/body_{number}",
            skin.vertices,
            [3] * len(skin.triangles),
            skin.triangles.ravel().tolist(),
            indices=skin.joints.ravel().tolist(),
            weights=skin.weights.ravel().tolist(),
            width=4,
        )
    return maker


def keep(maker: UsdMaker, tokens: list[str], turned: Floats, moved: Floats) -> None:
    """One SkelAnimation of ``(joints, 4, frames)`` and ``(joints, 3, frames)``."""
    schema = UsdSkel.Animation.Define(maker.stage, "/Crew/Anim")
    schema.CreateJointsAttr(tokens)
    schema.CreateScalesAttr([Gf.Vec3h(1, 1, 1)] * len(tokens))
    shifts, turns = schema.CreateTranslationsAttr(), schema.CreateRotationsAttr()
    last = turned[:, [1, 2, 3, 0]].astype("f4")
    for frame in range(turned.shape[-1]):
        values = np.ascontiguousarray(moved[..., frame], dtype="f4")
        shifts.Set(Vt.Vec3fArray.FromNumpy(values), frame)
        turns.Set(Vt.QuatfArray.FromNumpy(np.ascontiguousarray(last[..., frame])), frame)
    maker.bind("/Crew/Skel", "/Crew/Anim")


def local_matrices(skeleton: Skeleton) -> Floats:
    """``(joints, 4, 4)`` of the rest pose, which has no scales here."""
    assert np.allclose(skeleton.rest_scales, 1.0)
    return matrices(skeleton.rest_translations, skeleton.rest_rotations)


def matrices(translations: Floats, turned: Floats) -> Floats:
    """``(n, 4, 4)``."""
    found = np.stack([shift(*one) for one in translations])
    found[:, :3, :3] = rotations.to_matrix(turned.T).transpose(2, 0, 1)
    return found
