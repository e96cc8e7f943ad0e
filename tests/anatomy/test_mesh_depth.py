"""Grids, winding numbers and depths of a skin, against two general-purpose mesh libraries."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy import mesh_body as kept
from kinelint.anatomy.mesh_body import mesh_body
from kinelint.anatomy.mesh_cut import piece
from kinelint.anatomy.mesh_depth import depths, exact, volumes
from kinelint.anatomy.volume_build import RestPose
from kinelint.assemble import figure_of
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.kinematics.grids import FAR_M, bake, gradient, sample
from kinelint.kinematics.triangles import squared_distance
from kinelint.kinematics.windings import depths_inside, winding_numbers
from kinelint.motion import Motion
from kinelint.readers import read
from real_data import real

trimesh = pytest.importorskip("trimesh")
NO_CAPS = np.empty((0, 3), dtype=np.intp)


def shapes():
    """Closed surfaces of the size of a limb, metres."""
    creation = trimesh.creation
    for name, mesh in (
        ("ball", creation.icosphere(3, 0.1)),
        ("limb", creation.capsule(0.3, 0.06)),
        ("box", creation.box((0.1, 0.2, 0.3))),
        ("ring", creation.torus(0.15, 0.05)),
    ):
        yield pytest.param(np.array(mesh.vertices), np.array(mesh.faces, dtype=np.intp), id=name)


def scattered(vertices, count=4000):
    rng = np.random.default_rng(1)
    return rng.uniform(vertices.min(axis=0), vertices.max(axis=0), (count, 3))


@pytest.mark.parametrize(("vertices", "faces"), [*shapes()])
def test_grid_depths_are_those_of_libigl(vertices, faces):
    """Oracle: libigl signed distance. Median within 0.5 mm, 95 % within 1.3 mm or cell / 4."""
    igl = pytest.importorskip("igl")
    points = scattered(vertices)
    true = igl.signed_distance(points, vertices, faces)[0]
    grid = bake(vertices, faces, NO_CAPS)
    assert grid.is_closed
    inside = true < 0.0
    off_mm = 1000.0 * np.abs(sample(grid, points.T) - true)[inside]
    assert np.median(off_mm) < 0.5
    assert np.percentile(off_mm, 95) < max(1.3, 250.0 * grid.cell_m)


@pytest.mark.parametrize(("vertices", "faces"), [*shapes()])
def test_distance_and_inside_are_those_of_trimesh(vertices, faces):
    """Oracle: trimesh's closest point, and volume by winding numbers against its volume."""
    points = scattered(vertices, 300)
    spread = np.broadcast_to(points.T[:, None], (3, len(faces), len(points)))
    mine = np.sqrt(squared_distance(spread, vertices[faces][..., None]).min(axis=0))
    corners = np.broadcast_to(vertices[faces], (len(points), len(faces), 3, 3))
    theirs = trimesh.triangles.closest_point(
        corners.reshape(-1, 3, 3), np.repeat(points, len(faces), axis=0)
    ).reshape(len(points), len(faces), 3)
    true = np.linalg.norm(theirs - points[:, None], axis=2).min(axis=1)
    assert mine == pytest.approx(true, abs=1e-9)
    turns = winding_numbers(scattered(vertices, 3000).T, vertices[faces])
    assert np.abs(turns - np.round(turns)).max() < 1e-6
    box = np.prod(np.ptp(vertices, axis=0))
    volume = trimesh.Trimesh(vertices, faces, process=False).volume
    assert np.mean(np.abs(turns) > 0.5) * box == pytest.approx(volume, rel=0.1)


def test_a_tube_is_closed_by_caps_and_depth_runs_to_its_skin():
    vertices, faces = ring_tube()
    open_ends = np.concatenate((vertices, [[0.0, 0.0, 0.0], [0.0, 0.0, 0.4]]))
    caps = np.array([[i, 24, (i + 1) % 12] for i in range(12)])
    caps = np.concatenate((caps, [[12 + i, 12 + (i + 1) % 12, 25] for i in range(12)]))
    if winding_numbers(np.array([[0.0], [0.0], [0.2]]), open_ends[np.r_[faces, caps]])[0] == 0.0:
        caps = caps[:, ::-1]
    # A hole in one side of a tube across the grid's lines shows: they go in and not out.
    assert not bake(np.roll(vertices, 1, axis=1), faces[:-6], NO_CAPS).is_closed
    grid = bake(open_ends, faces, caps)
    assert grid.is_closed
    apothem = 0.05 * np.cos(np.pi / 12.0)
    # Off the axis, where a grid rounds off the ridge of the distance.
    depth = apothem - 0.02 * np.cos(np.pi / 12.0)
    # 20 mm from the cut the depth is still that to the skin; beyond the cut it is outside.
    for along in (0.2, 0.38):
        point = np.array([[0.02], [0.0], [along]])
        assert -sample(grid, point)[0] == pytest.approx(depth, abs=0.002)
    assert sample(grid, np.array([[0.0], [0.0], [0.412]]))[0] > 0.0
    assert sample(grid, np.array([[1.0], [0.0], [0.2]]))[0] == FAR_M
    assert gradient(grid, np.array([0.04, 0.0, 0.2]))[0] == pytest.approx(1.0, abs=0.1)
    inside = depths_inside(np.array([[0.0], [0.0], [0.2]]), open_ends[faces], open_ends[caps])
    assert inside[0] == pytest.approx(apothem, abs=1e-9)


def ring_tube():
    angle = np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False)
    ring = np.stack((0.05 * np.cos(angle), 0.05 * np.sin(angle), np.zeros(12)), axis=1)
    vertices = np.concatenate((ring, ring + np.array([0.0, 0.0, 0.4])))
    i, j = np.arange(12), (np.arange(12) + 1) % 12
    return vertices, np.concatenate((np.stack((i, j, j + 12), 1), np.stack((i, j + 12, i + 12), 1)))


CHARACTERS = ("CesiumMan", "RiggedFigure", "kaykit_knight")


def skinned_motion(name: str) -> Motion:
    asset = read(real(f"gltf/{name}.glb"))
    clips = [prepare(clip).clip for clip in asset.clips[:8]]
    figure = replace(figure_of(clips, skins=asset.skins), skins=asset.skins)
    return Motion(clips[-1], figure)


def body_of(motion: Motion):
    figure, skeleton = motion.figure, motion.clip.skeleton
    rest = RestPose.of(skeleton, figure.metres_per_unit, figure.to_y_up)
    return mesh_body(figure, skeleton, rest.positions_m)


@pytest.mark.parametrize("name", CHARACTERS)
def test_every_piece_of_a_real_skin_is_as_deep_as_libigl_says(name: str):
    """Away from cuts, at the bind pose; RiggedFigure is 1.1 m tall with facets of 100 mm."""
    igl = pytest.importorskip("igl")
    body = body_of(skinned_motion(name))
    off_mm = []
    for part in body.parts:
        if isinstance(body.volume(part), str):
            continue
        cut = piece(body.mesh, body.mesh.owner == body.parts.index(part), 8)
        [*solids] = body.volume(part).solids
        if len(solids) > 1:
            continue
        points = scattered(cut.points_m[cut.faces].reshape(-1, 3), 1500)
        closed = np.concatenate((cut.faces, cut.caps))
        inside = np.abs(igl.winding_number(cut.points_m, closed, points)) > 0.5
        true = np.sqrt(igl.point_mesh_squared_distance(points, cut.points_m, cut.faces)[0])
        grid, carrier = solids[0].grid, solids[0].carrier
        if len(cut.caps):
            from_cut = igl.point_mesh_squared_distance(points, cut.points_m, cut.caps)[0]
            inside &= np.sqrt(from_cut) > true / 4.0 + 2.0 * grid.cell_m
        turn = body.turns[carrier][:, None]
        local = rotations.unrotate(turn, (points - body.bind_m[carrier]).T)
        off_mm.append(1000.0 * np.abs(-sample(grid, local) - true)[inside] / grid.cell_m / 125.0)
    # In eighths of a cell: 1 is 0.8 to 2 mm on these figures.
    assert np.median(np.concatenate(off_mm)) < 0.5
    assert np.percentile(np.concatenate(off_mm), 95) < 3.0


def by_libigl(body, parts, motion: Motion, frame: int) -> float:
    """Depth by libigl, mm, on vertices skinned here with SciPy, in 3,000 points of each part."""
    igl = pytest.importorskip("igl")
    from scipy.spatial.transform import Rotation

    mesh, places = body.mesh, np.zeros_like(body.mesh.points_m)
    turn = lambda q: Rotation.from_quat(q[[1, 2, 3, 0]])  # noqa: E731
    for joint in np.unique(mesh.joints[mesh.weights > 0.0]):
        weight = np.where(mesh.joints == joint, mesh.weights, 0.0).sum(axis=1)[:, None]
        turned = turn(motion.orientations[joint, :, frame]) * turn(body.turns[joint]).inv()
        moved = turned.apply(mesh.points_m - body.bind_m[joint])
        places += weight * (moved + motion.positions_m[joint, :, frame])
    cuts = [piece(mesh, mesh.owner == body.parts.index(part), 8) for part in parts]
    best = 0.0
    for mine, other in (cuts, cuts[::-1]):
        rings = np.unique(other.caps[:, 2])
        middles = [places[other.caps[other.caps[:, 2] == r][:, :2]].mean((0, 1)) for r in rings]
        whole = np.concatenate((places, np.reshape(middles, (-1, 3))))
        surface = trimesh.Trimesh(places, mine.faces, process=False)
        more = trimesh.sample.sample_surface(surface, 3000, seed=1)[0]
        points = np.concatenate((places[np.unique(mine.faces)], more))
        closed = np.concatenate((other.faces, other.caps))
        inside = np.abs(igl.winding_number(whole, closed, points)) > 0.5
        if inside.any():
            squares = igl.point_mesh_squared_distance(points[inside], places, other.faces)[0]
            best = max(best, float(np.sqrt(squares.max())))
    return 1000.0 * best


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("CesiumMan", ("left_hand", "left_thigh")),
        ("CesiumMan", ("right_upper_arm", "pelvis")),
        ("kaykit_knight", ("right_forearm", "abdomen")),
        ("kaykit_knight", ("left_forearm", "thorax")),
    ],
)
def test_depth_on_the_posed_skin_is_that_of_libigl(name: str, parts):
    motion = skinned_motion(name)
    body = body_of(motion)
    pair = volumes(body, parts)
    assert not isinstance(pair, str)
    found = depths(body, parts, motion.positions_m, motion.orientations)
    frames = np.unique(np.linspace(0, motion.frames - 1, 6).astype(int))
    off = []
    for frame in (*frames, int(np.argmax(found.depth_m))):
        now = slice(frame, frame + 1)
        mine = 1000.0 * exact(pair, motion.positions_m[..., now], motion.orientations[..., now])
        off.append(abs(mine - by_libigl(body, parts, motion, frame)))
    assert np.median(off) < 1.0
    assert max(off) < 5.0


def test_grids_are_made_once_for_a_figure_that_crosses_processes_and_few_are_kept():
    motion = skinned_motion("CesiumMan")
    first = body_of(motion)
    again = Motion(motion.clip, pickle.loads(pickle.dumps(motion.figure)))
    assert body_of(again) is first
    assert not any("mesh" in name for name in vars(motion.figure))
    sizes = [
        solid.grid.values_m.nbytes
        for part in first.parts
        if not isinstance(first.volume(part), str)
        for solid in first.volume(part).solids
    ]
    assert sum(sizes) < 3e6
    for scale in (1.1, 1.2, 1.3, 1.4, 1.5):
        grown = [replace(one, vertices=one.vertices * scale) for one in motion.figure.skins]
        body_of(Motion(motion.clip, replace(motion.figure, skins=tuple(grown))))
    assert len(kept._MADE) <= 4


def test_an_open_sheet_is_no_volume_and_a_figure_without_a_skin_has_none():
    motion = skinned_motion("CesiumMan")
    skin = motion.figure.skins[0]
    half = replace(
        skin, triangles=skin.triangles[skin.vertices[skin.triangles][..., 1].mean(1) > 0.9]
    )
    cut = Motion(motion.clip, replace(motion.figure, skins=(half,)))
    body = body_of(cut)
    assert body.volume("left_shank") == "too few vertices"
    assert isinstance(
        depths(body, ("left_hand", "left_shank"), cut.positions_m, cut.orientations), str
    )
    assert body_of(Motion(motion.clip, replace(motion.figure, skins=()))) is None
