"""Depths of a skin's parts in each other against a signed-distance query in each frame.

    python tests/benchmarks/bench_mesh.py [frames]

The skin is a made person of tubes with some 5,000 vertices who swings the arms against the
thighs. libigl is given each part as it stands in a frame, builds its tree and is asked for the
vertices of the parts that may not lie in it. Ours samples grids that were baked once.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
from side_by_side import Figure, in_turns, one_core, seconds, told

from kinelint import synthetic
from kinelint.anatomy.mesh_body import MeshBody, Volume, mesh_body
from kinelint.anatomy.mesh_depth import depths
from kinelint.anatomy.neighbours import may_collide
from kinelint.anatomy.volume_build import RestPose
from kinelint.clip import Skin
from kinelint.kinematics.skinning import moves, placed
from kinelint.motion import Motion

FRAMES = 120
SIDES, RINGS = 24, 14
_ENDS = {
    "abdomen": ("thorax", 0.13),
    "thorax": ("neck", 0.15),
    "pelvis": ("abdomen", 0.14),
    **{
        f"{side}_{part}": (f"{side}_{end}", radius)
        for side in ("left", "right")
        for part, end, radius in (
            ("upper_arm", "forearm", 0.05),
            ("forearm", "hand", 0.04),
            ("hand", "hand end", 0.03),
            ("thigh", "shank", 0.08),
            ("shank", "foot", 0.05),
            ("foot", "toes", 0.04),
        )
    },
}


def tube(start: np.ndarray, end: np.ndarray, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and triangles of a closed tube."""
    along = end - start
    across = np.cross(
        along, [0.0, 0.0, 1.0] if abs(along[2]) < 0.5 * np.linalg.norm(along) else [1.0, 0, 0]
    )
    across /= np.linalg.norm(across)
    other = np.cross(along / np.linalg.norm(along), across)
    angle = np.linspace(0.0, 2.0 * np.pi, SIDES, endpoint=False)[:, None]
    ring = radius * (np.cos(angle) * across + np.sin(angle) * other)
    rings = [start + share * along + ring for share in np.linspace(0.0, 1.0, RINGS)]
    vertices = np.concatenate((*rings, [start, end]))
    i, j = np.arange(SIDES), (np.arange(SIDES) + 1) % SIDES
    faces = [np.stack((i, np.full(SIDES, len(vertices) - 2), j), 1)]
    for low in range(0, SIDES * (RINGS - 1), SIDES):
        faces += [np.stack((i + low, j + low, j + low + SIDES), 1)]
        faces += [np.stack((i + low, j + low + SIDES, i + low + SIDES), 1)]
    top = SIDES * (RINGS - 1)
    faces += [np.stack((i + top, j + top, np.full(SIDES, len(vertices) - 1)), 1)]
    return vertices, np.concatenate(faces)


def skin() -> Skin:
    """Tubes on the made person."""
    skeleton = synthetic.person(1.75)
    rest = RestPose.of(skeleton, 1.0, np.array([[1.0], [0.0], [0.0], [0.0]]))
    names = list(skeleton.names)
    vertices, triangles, owners = [], [], []
    for part, (end, radius) in _ENDS.items():
        ends = (rest.positions_m[names.index(name)] for name in (part, end))
        points, faces = tube(*ends, radius)
        triangles.append(faces + sum(map(len, vertices)))
        vertices.append(points)
        owners.append(np.full(len(points), names.index(part)))
    joints = np.zeros((sum(map(len, vertices)), 4), dtype=np.intp)
    joints[:, 0] = np.concatenate(owners)
    weights = np.tile([1.0, 0.0, 0.0, 0.0], (len(joints), 1))
    turns = rest.orientations
    return Skin(
        "made",
        np.concatenate(vertices),
        joints,
        weights,
        rest.positions_m,
        turns,
        np.concatenate(triangles),
    )


def swinging(frames: int) -> Motion:
    """Arms against thighs, to and fro."""
    swing = np.sin(np.arange(frames) / 60.0 * 2.0 * np.pi * 0.9)
    turns = {
        f"{side}_{part}": [(axis, degrees)]
        for side, sign in (("left", 1.0), ("right", -1.0))
        for part, axis, degrees in (
            ("upper_arm", "Z", sign * (3.0 * swing - 6.0)),
            ("forearm", "X", -30.0 - 30.0 * swing),
            ("thigh", "X", -20.0 * sign * swing),
        )
    }
    return synthetic.motion(frames=frames, turns=turns)


def built(motion: Motion, of: Skin, scale: float = 1.0) -> MeshBody:
    """The volumes, all of them baked; another scale is another skin to the program's cache."""
    grown = replace(of, vertices=of.vertices * scale)
    figure = replace(motion.figure, skins=(grown,))
    skeleton = motion.clip.skeleton
    rest = RestPose.of(skeleton, figure.metres_per_unit, figure.to_y_up)
    body = mesh_body(figure, skeleton, rest.positions_m)
    assert body is not None
    for part in _ENDS:
        assert isinstance(body.volume(part), Volume), (part, body.volume(part))
    return body


def theirs(body: MeshBody, motion: Motion, pairs: list[tuple[str, str]]) -> float:
    """The deepest vertex over all frames and pairs, by libigl."""
    import igl

    deepest = 0.0
    root = motion.clip.skeleton.names.index("pelvis")
    volumes = {part: body.volume(part) for part in _ENDS}
    for frame in range(motion.frames):
        now = slice(frame, frame + 1)
        pose = motion.positions_m[..., now], motion.orientations[..., now]
        posed = {}
        for part, volume in volumes.items():
            of = volume.surface.vertices
            posed[part] = placed(of.terms, moves(of.joints, root, *pose))[..., 0]
        for part, volume in volumes.items():
            others = [one for pair in pairs for one in pair if part in pair and one != part]
            if others:
                points = np.concatenate([posed[one] for one in others])
                faces = volume.surface.faces
                kind = igl.SignedDistanceType.SIGNED_DISTANCE_TYPE_PSEUDONORMAL
                found = igl.signed_distance(points, posed[part], faces, sign_type=kind)[0]
                deepest = max(deepest, -float(found.min()))
    return deepest


def main(frames: int = FRAMES, repeats: int = 3) -> list[Figure]:
    """Prints both, and the ratio."""
    motion, of = swinging(frames), skin()
    _ = motion.positions_m, motion.orientations
    parts = [*_ENDS]
    pairs = [
        (part, other)
        for i, part in enumerate(parts)
        for other in parts[i + 1 :]
        if may_collide(part, other)
    ]
    with one_core():
        built(motion, of, 1.001)
        baking_s = seconds(lambda: built(motion, of))
        body = built(motion, of)

        def ours() -> float:
            pose = motion.positions_m, motion.orientations
            found = [depths(body, pair, *pose) for pair in pairs]
            return max(float(one.depth_m.max()) for one in found if not isinstance(one, str))

        deepest = ours()
        figures: list[Figure] = [
            (f"baking a skin of {len(of.vertices)} vertices, s", baking_s, 1.0, False)
        ]
        try:
            by_libigl = theirs(body, motion, pairs)
        except ImportError:
            print("libigl is not installed: no comparison")
        else:
            mine_s, theirs_s = in_turns(repeats, ours, lambda: theirs(body, motion, pairs))
            each = 1000.0 / frames
            print(f"{len(pairs)} pairs of {len(parts)} parts, {frames} frames, ms a frame:")
            print(f"  grids {mine_s * each:.2f}, libigl {theirs_s * each:.2f}")
            print(f"  deepest {1000 * deepest:.1f} mm, libigl {1000 * by_libigl:.1f} mm")
            figures.append(("depths on a skin / libigl each frame", mine_s / theirs_s, 1.0, False))
    print(*map(told, figures), sep="\n")
    return figures


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))
