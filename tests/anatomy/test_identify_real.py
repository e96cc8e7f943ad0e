"""Recognition on real files against their hierarchies, read by eye (`expected_parts`)."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from anatomy.expected_parts import EXPECTED, MAIN
from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.identify import identify
from kinelint.anatomy.parts import mirrored
from kinelint.clip import Clip
from kinelint.kinematics import rotations
from kinelint.readers import read
from real_data import real

# One frozen pose of a failed solve, with the shoulders crossed: only names can tell its sides.
CROSSED = "bvh/accad_martialarts_male2_subject_cal_2.bvh"


@lru_cache(maxsize=4)
def clip_of(name: str) -> Clip:
    """The first clip of a file."""
    return read(real(name)).clips[0]


def renamed(clip: Clip, names: tuple[str, ...]) -> Clip:
    """The clip with other names of joints and no humanoid metadata."""
    return replace(clip, skeleton=replace(clip.skeleton, names=names, humanoid={}))


def joint_of(clip: Clip, key: str) -> int:
    """The joint with a name or handle."""
    skeleton = clip.skeleton
    return (skeleton.handles if key.startswith("/") else skeleton.names).index(key)


def right_parts(clip: Clip, anatomy: Anatomy, name: str) -> set[str]:
    """The expected parts that were found at their joint."""
    return {
        part
        for part, key in EXPECTED[name].items()
        if anatomy.joints.get(part, (-1,))[0] == joint_of(clip, key)
    }


@pytest.mark.parametrize("name", EXPECTED)
def test_every_part_is_found_at_its_joint(name):
    clip = clip_of(name)
    anatomy = identify(clip.skeleton, {}, clip)
    assert right_parts(clip, anatomy, name) == set(EXPECTED[name])
    assert 0.5 < anatomy.confidence <= 1.0
    assert all(one.evidence for one in anatomy.assignments)


@pytest.mark.parametrize("name", EXPECTED)
def test_names_suffice_where_there_is_no_motion(name):
    clip = clip_of(name)
    anatomy = identify(clip.skeleton)
    assert right_parts(clip, anatomy, name) == set(EXPECTED[name])


@pytest.mark.parametrize("naming", ["nothing", "numbers"])
@pytest.mark.parametrize("name", sorted(set(EXPECTED) - {CROSSED}))
def test_structure_alone_finds_the_main_parts(name, naming):
    clip = clip_of(name)
    numbers = naming == "numbers"
    names = tuple(f"j{i}" if numbers else "" for i in range(len(clip.skeleton)))
    bare = renamed(clip, names)
    anatomy = identify(bare.skeleton, {}, bare)
    right = right_parts(clip, anatomy, name)
    wanted = MAIN & set(EXPECTED[name])
    if "Robot" in name:
        # Three metacarpals stand in one place at each wrist: any of them may be the hand.
        wanted -= {"left_hand", "right_hand"}
    assert wanted <= right


@pytest.mark.parametrize("prefix", ["scene:figure:", "Deckhand_", "Hand_Arm_"])
@pytest.mark.parametrize("name", ["bvh/cmu_02_01_walk.bvh", "gltf/kaykit_knight.glb"])
def test_a_prefix_of_all_names_changes_nothing(name, prefix):
    clip = clip_of(name)
    other = renamed(clip, tuple(prefix + one for one in clip.skeleton.names))
    anatomy = identify(other.skeleton, {}, other)
    assert right_parts(clip, anatomy, name) == set(EXPECTED[name])


def turned_axes(clip: Clip, seed: int) -> Clip:
    """The same motion with every joint's own axes turned at random."""
    rng = np.random.default_rng(seed)
    skeleton = clip.skeleton
    turns = rotations.normalise(rng.normal(size=(len(skeleton), 4, 1)))
    parents = skeleton.parents
    base = np.where((parents >= 0)[:, None, None], turns[parents], rotations.IDENTITY)
    rest = skeleton.rest_rotations[:, :, None]
    offsets = rotations.unrotate(base, skeleton.rest_translations[:, :, None])[:, :, 0]

    def changed(local):
        return rotations.multiply(rotations.multiply(rotations.conjugate(base), local), turns)

    moved = rotations.unrotate(base[clip.translated], clip.translations)
    new = replace(skeleton, rest_translations=offsets, rest_rotations=changed(rest)[:, :, 0])
    return replace(clip, skeleton=new, rotations=changed(clip.rotations), translations=moved)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", ["bvh/accad_male2_b3_walk.bvh", "bvh/fair1_dab_zup.bvh"])
def test_the_axes_of_the_joints_do_not_matter(name, seed):
    clip = renamed(clip_of(name), ("",) * len(clip_of(name).skeleton))
    turned = turned_axes(clip, seed)
    before = identify(clip.skeleton, {}, clip).joints
    assert identify(turned.skeleton, {}, turned).joints == before


def in_mirror(clip: Clip) -> Clip:
    """The same motion seen in a mirror across x."""
    flip, turn = np.array([-1.0, 1.0, 1.0]), np.array([1.0, 1.0, -1.0, -1.0])
    skeleton = clip.skeleton
    new = replace(
        skeleton,
        rest_translations=skeleton.rest_translations * flip,
        rest_rotations=skeleton.rest_rotations * turn,
    )
    return replace(
        clip,
        skeleton=new,
        rotations=clip.rotations * turn[:, None],
        translations=clip.translations * flip[:, None],
    )


@pytest.mark.parametrize("name", ["bvh/accad_male2_b3_walk.bvh", "bvh/cmu_02_01_walk.bvh"])
def test_a_mirrored_skeleton_without_names_swaps_its_sides(name):
    clip = renamed(clip_of(name), ("",) * len(clip_of(name).skeleton))
    mirror = in_mirror(clip)
    before = identify(clip.skeleton, {}, clip).joints
    after = identify(mirror.skeleton, {}, mirror).joints
    assert {part: joints[0] for part, joints in after.items()} == {
        mirrored(part): joints[0] for part, joints in before.items()
    }


def test_a_mirrored_skeleton_that_keeps_its_names_is_noted():
    clip = clip_of("bvh/accad_male2_b3_walk.bvh")
    before = identify(clip.skeleton, {}, clip)
    mirror = in_mirror(clip)
    after = identify(mirror.skeleton, {}, mirror)
    assert after.joints == before.joints
    assert before.notes == ()
    assert any("exchanged" in note for note in after.notes)
    assert after.confidence < before.confidence - 0.1


@pytest.mark.parametrize(
    "name",
    ["gltf/Fox.glb", "gltf/RiggedSimple.glb", "gltf/SimpleSkin.gltf", "gltf/AnimatedMorphCube.glb"],
)
@pytest.mark.parametrize("with_motion", [True, False])
def test_what_is_no_human_is_not_mapped(name, with_motion):
    for clip in read(real(name)).clips:
        anatomy = identify(clip.skeleton, {}, clip if with_motion else None)
        assert anatomy.assignments == ()
        assert anatomy.confidence == 0.0
        assert len(anatomy.notes) == 1


@pytest.mark.parametrize(
    "name", ["kaykit_knight.glb", "kaykit_med_movement_basic.glb", "RobotExpressive.glb"]
)
def test_all_clips_of_one_file_tell_the_same_anatomy(name):
    clips = [clip for clip in read(real(f"gltf/{name}")).clips if clip.frames > 1]
    found = [identify(clip.skeleton, {}, clip).joints for clip in clips]
    assert len(found) > 9
    assert all(one == found[0] for one in found)
