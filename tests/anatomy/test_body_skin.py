"""Radii fitted to a skin of known thickness."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.body import build_body
from kinelint.clip import Skin
from kinelint.kinematics import rotations
from kinelint.synthetic import person, person_figure

SKELETON = person(1.75)
FIGURE = replace(person_figure(1.75), body=None)
PLACES = np.zeros((len(SKELETON), 3))
for _joint, _parent in enumerate(SKELETON.parents):
    PLACES[_joint] = SKELETON.rest_translations[_joint]
    if _parent >= 0:
        PLACES[_joint] += PLACES[_parent]


def at(name: str):
    return PLACES[SKELETON.names.index(name)]


def tube(start, end, half_breadth: float, half_depth: float, rings: int = 5, sides: int = 12):
    """Points of an elliptical tube, broad along X."""
    angle = np.linspace(0.0, 2.0 * np.pi, sides, endpoint=False)
    ring = np.stack((half_breadth * np.cos(angle), np.zeros(sides), half_depth * np.sin(angle)), 1)
    share = np.linspace(0.05, 0.95, rings)[:, None, None]
    return (start + share * (end - start) + ring).reshape(-1, 3)


def skin_of(pieces, scale: float = 1.0) -> Skin:
    """One mesh of ``{joint name: points}``, all weight on that joint, lengths times `scale`."""
    vertices = np.concatenate(list(pieces.values()))
    owner = np.concatenate(
        [np.full(len(points), SKELETON.names.index(name)) for name, points in pieces.items()]
    )
    joints = np.zeros((len(vertices), 4), dtype=np.intp)
    joints[:, 0] = owner
    weights = np.zeros((len(vertices), 4))
    weights[:, 0] = 1.0
    turns = np.tile(rotations.IDENTITY[:, 0], (len(SKELETON), 1))
    return Skin("made", vertices * scale, joints, weights, PLACES * scale, turns)


PIECES = {
    "left_thigh": tube(at("left_thigh"), at("left_shank"), 0.09, 0.09),
    "left_shank": np.concatenate(
        (
            tube(at("left_shank"), (at("left_shank") + at("left_foot")) / 2, 0.06, 0.06),
            tube((at("left_shank") + at("left_foot")) / 2, at("left_foot"), 0.04, 0.04),
        )
    ),
    "thorax": tube(at("thorax"), at("neck"), 0.18, 0.12, sides=24),
}


@pytest.mark.parametrize("scale", [1.0, 100.0, 0.3])
def test_radii_are_those_of_the_skin_whatever_its_unit(scale: float):
    body = build_body(FIGURE, SKELETON, [skin_of(PIECES, scale)])
    found = {
        part: [r for r, p in zip(body.capsules.radii_m, body.parts, strict=True) if p == part]
        for part in body.parts
    }
    assert found["left_thigh"] == pytest.approx([0.09, 0.09], rel=0.01)
    assert found["left_shank"] == pytest.approx([0.06, 0.04], rel=0.01)
    assert body.radii_from["left_thigh"] == "skin"
    assert body.radii_from["right_thigh"] == "girth"


def test_the_trunk_is_as_broad_and_as_deep_as_its_skin():
    body = build_body(FIGURE, SKELETON, [skin_of(PIECES)])
    chest = [i for i, part in enumerate(body.parts) if part == "thorax"]
    radius = float(body.capsules.radii_m[chest[0]])
    breadth = float(np.abs(body.capsules.offsets_m[chest, 0, 0]).max()) + radius
    assert radius == pytest.approx(0.12, rel=0.02)
    assert breadth == pytest.approx(0.18, rel=0.02)


def test_a_tool_held_in_the_hand_does_not_make_it_thick():
    """A boathook hangs on a joint of its own below the hand."""
    names = (*SKELETON.names, "boathook")
    hand = SKELETON.names.index("left_hand")
    longer = replace(
        SKELETON,
        names=names,
        parents=np.append(SKELETON.parents, hand),
        rest_translations=np.vstack((SKELETON.rest_translations, [[0, -0.1, 0]])),
        rest_rotations=np.vstack((SKELETON.rest_rotations, [[1.0, 0, 0, 0]])),
        rest_scales=np.ones((len(names), 3)),
        tips=np.append(SKELETON.tips, False),
    )
    plain = skin_of({"left_hand": tube(at("left_hand"), at("left_hand end"), 0.02, 0.02)})
    hook = at("left_hand") + np.random.default_rng(0).normal(size=(400, 3))
    held = replace(
        plain,
        vertices=np.vstack((plain.vertices, hook)),
        joints=np.vstack((plain.joints, np.full((400, 4), len(names) - 1))),
        weights=np.vstack((plain.weights, np.tile([1.0, 0, 0, 0], (400, 1)))),
        bind_positions=np.vstack((plain.bind_positions, [at("left_hand") - [0, 0.1, 0]])),
        bind_rotations=np.vstack((plain.bind_rotations, [[1.0, 0, 0, 0]])),
    )
    body = build_body(FIGURE, longer, [held])
    radius = body.capsules.radii_m[body.parts.index("left_hand")]
    assert radius == pytest.approx(0.02, rel=0.01)


def test_a_hand_without_a_tip_joint_is_as_long_as_its_skin():
    tip = at("left_hand") + np.array([0.0, -0.15, 0.0])
    anatomy = replace(FIGURE.anatomy, tips={})
    skin = skin_of({"left_hand": tube(at("left_hand"), tip, 0.03, 0.03)})
    loose = replace(skin, bind_positions=np.where(SKELETON.tips[:, None], np.nan, PLACES))
    body = build_body(replace(FIGURE, anatomy=anatomy), SKELETON, [loose])
    hand = body.parts.index("left_hand")
    reach = np.linalg.norm(body.capsules.offsets_m[hand, 1])
    assert reach == pytest.approx(0.95 * 0.15, rel=0.03)
    assert body.capsules.radii_m[hand] == pytest.approx(0.03, rel=0.03)


def test_too_few_vertices_say_nothing():
    few = {"left_thigh": PIECES["left_thigh"][:3]}
    body = build_body(FIGURE, SKELETON, [skin_of(few)])
    assert body.radii_from["left_thigh"] == "girth"


def test_a_skin_that_binds_nothing_says_nothing():
    skin = replace(skin_of(PIECES), bind_positions=np.full((len(SKELETON), 3), np.nan))
    body = build_body(FIGURE, SKELETON, [skin])
    assert set(body.radii_from.values()) == {"girth"}


def test_a_coarse_skin_goes_evenly_over_into_the_next_limb():
    """Rings at the shoulder and the elbow alone: the arm between is no tube of the shoulder's."""
    elbow, wrist = at("left_forearm"), at("left_hand")
    near = at("left_upper_arm") + 0.1 * (elbow - at("left_upper_arm"))
    coarse = {
        "left_upper_arm": tube(at("left_upper_arm"), near, 0.08, 0.08),
        "left_forearm": tube(elbow, wrist, 0.04, 0.04),
    }
    body = build_body(FIGURE, SKELETON, [skin_of(coarse)])
    arm = [
        float(radius)
        for radius, part in zip(body.capsules.radii_m, body.parts, strict=True)
        if part == "left_upper_arm"
    ]
    # A cone from 80 to 40 mm is 50 mm thick, as a radius, in the middle of its far half.
    assert arm == pytest.approx([0.08, 0.05], rel=0.02)
