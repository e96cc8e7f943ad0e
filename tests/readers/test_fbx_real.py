"""Real FBX files, where they are present: against the binding's own evaluation of whole scenes.

The oracle (`fbx_oracle`) asks the binding for the scene at each sampled time, in the file's own
axes and units and by its own rules of inheritance; the reader asks for single transforms, in other
axes and units, and lays them out by itself.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from kinelint import registry
from kinelint.anatomy.contacts import contacts
from kinelint.anatomy.hints import BodyHints
from kinelint.anatomy.identify import identify
from kinelint.anatomy.tree import placed, positions, rest_positions
from kinelint.assemble import figure_of, motion_of
from kinelint.clip import Asset
from kinelint.engine import run
from kinelint.errors import AssetError
from kinelint.finding import Level
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.policy import load_policy
from kinelint.readers import ReadOptions, read
from kinelint.readers.fbx_sniff import sniff
from kinelint.report import Outcome
from readers.fbx_oracle import ask
from real_data import folder, real

pytestmark = pytest.mark.skipif(
    find_spec("ufbx") is None, reason='FBX needs: pip install "kinelint[fbx]"'
)

# Two files say centimetres and hold the capture's own unit, 1/0.45 inch, times 100 (see the list).
CAPTURE_UNIT_M = 0.0254 / 0.45
WITHIN_M = 1e-4  # what the issue asks for; measured: 0.03 mm on figures of 30 m, 0.005 on others


class Facts(NamedTuple):
    """As the data's own list has them: bones, frame rate, first and last moment of the take."""

    bones: int
    file_hz: float
    begin_s: float
    end_s: float


FACTS = {
    "assimp_animation_with_skeleton.fbx": Facts(16, 24.0, 0.0, 0.833),
    "cmu_07_01_walk.fbx": Facts(38, 120.0, 0.0, 2.633),
    "cmu_09_11_run.fbx": Facts(38, 120.0, 0.0, 1.375),
    "cmu_85_04_breakdance_prefixed.fbx": Facts(22, 30.0, 0.008, 21.292),
    "ufbx_character_rest_6100_ascii.fbx": Facts(62, 24.0, 0.042, 5.0),
    "ufbx_kenney_character_7700_binary.fbx": Facts(58, 24.0, 0.0, 0.833),
}
MOVING = [name for name in FACTS if "rest" not in name]
SAVED_IN_MOTION = "cmu_85_04_breakdance_prefixed.fbx"
SKINNED = ["assimp_animation_with_skeleton.fbx", "ufbx_kenney_character_7700_binary.fbx"]


@cache
def asset(name: str) -> Asset:
    return read(real(f"fbx/{name}"))


@pytest.fixture(scope="module")
def evaluated(tmp_path_factory):
    """The oracle's answer for a file at all sampled times, asked for once."""
    answers = {}

    def of(name: str):
        if name not in answers:
            clips = asset(name).clips
            times = {f"take_{i}": clip.start_s + clip.times_s for i, clip in enumerate(clips)}
            answers[name] = ask(real(f"fbx/{name}"), tmp_path_factory.mktemp("oracle"), times)
        return answers[name]

    return of


def nodes_of(name: str, answer) -> list[int]:
    """For each joint of the skeleton its node in the oracle's answer."""
    skeleton, paths = asset(name).skeleton, answer["paths"].tolist()
    return [paths.index(skeleton.path(joint)) for joint in range(len(skeleton))]


@pytest.mark.parametrize("name", FACTS)
def test_the_content_tells_it_is_fbx(name):
    head = real(f"fbx/{name}").read_bytes()[:4096]
    assert sniff(head, Path("walk.dat"))
    assert not sniff(b"HIERARCHY\nROOT Hips\n", Path("walk.fbx"))


@pytest.mark.parametrize("name", FACTS)
def test_what_the_list_of_the_data_says(name):
    facts, found = FACTS[name], asset(name)
    assert len(found.skeleton) >= facts.bones
    assert len(found.clips) == (name in MOVING)
    for clip in found.clips:
        assert clip.metres_per_unit == 1.0
        assert clip.up_axis == "y"
        assert clip.start_s == pytest.approx(facts.begin_s, abs=5e-4)
        assert clip.start_s + clip.duration_s == pytest.approx(facts.end_s, abs=5e-4)
        # Every key stands on a frame, so the file's rate or a multiple of it was kept.
        times = clip.sample_rate_hz / facts.file_hz
        assert times == pytest.approx(round(times), abs=1e-9)
        frames = (clip.key_times_s - clip.start_s) * clip.sample_rate_hz
        assert np.abs(frames - np.rint(frames)).max() < 0.02
        assert frames[-1] <= clip.frames - 1 + 1e-6


@pytest.mark.parametrize("name", MOVING)
def test_joints_are_where_the_binding_puts_them(name, evaluated):
    answer = evaluated(name)
    nodes, unit_m = nodes_of(name, answer), float(answer["unit_m"])
    for i, clip in enumerate(asset(name).clips):
        worlds = answer[f"take_{i}"][:, nodes]
        expected = worlds[..., 3].transpose(1, 2, 0) * unit_m
        assert expected.shape == (len(clip.skeleton), 3, clip.frames)
        assert np.ptp(expected, axis=2).max() > 0.01  # something moves
        assert np.linalg.norm(positions(clip) - expected, axis=1).max() < WITHIN_M


@pytest.mark.parametrize("name", MOVING)
def test_joints_are_turned_as_the_binding_turns_them(name, evaluated):
    answer = evaluated(name)
    nodes = nodes_of(name, answer)
    for i, clip in enumerate(asset(name).clips):
        linear = answer[f"take_{i}"][:, nodes][..., :3]
        # These rigs are scaled by one number at each place, to 2e-5.
        axes = linear / np.linalg.norm(linear, axis=2, keepdims=True)
        found = placed(clip)[1]
        for joint in range(len(clip.skeleton)):
            turned = rotations.from_matrix(axes[:, joint].transpose(1, 2, 0))
            assert np.degrees(rotations.angle_between(turned, found[joint])).max() < 0.01


@pytest.mark.parametrize("name", MOVING)
def test_rotations_are_unit_and_never_change_sign_for_nothing(name):
    for clip in asset(name).clips:
        q = clip.rotations
        assert np.abs(np.sum(q * q, axis=1) - 1.0).max() < 1e-12
        assert np.all(np.sum(q[..., 1:] * q[..., :-1], axis=1) >= 0.0)


@pytest.mark.parametrize("name", [name for name in FACTS if name != SAVED_IN_MOTION])
def test_the_rest_pose_is_the_bind_pose_or_the_scene_without_animation(name, evaluated):
    answer, skeleton = evaluated(name), asset(name).skeleton
    found, unit_m = rest_positions(skeleton), float(answer["unit_m"])
    bound = dict(zip(answer["bind_paths"].tolist(), answer["bind"], strict=True))
    still = answer["rest"][0][nodes_of(name, answer)]
    assert bool(bound) == (name in SKINNED)
    for joint in range(len(skeleton)):
        if bound and skeleton.path(joint) not in bound:
            continue  # hangs on a joint of the bind pose by its own transform
        place = bound.get(skeleton.path(joint), still[joint])
        assert np.abs(found[joint] - place[:, 3] * unit_m).max() < WITHIN_M


def test_a_skeleton_saved_in_mid_motion_rests_in_the_pose_it_was_built_in(evaluated):
    """Upright, mirrored left to right, arms out: its pre-rotations make a T-pose of it."""
    skeleton, answer = asset(SAVED_IN_MOTION).skeleton, evaluated(SAVED_IN_MOTION)
    at = dict(zip(skeleton.names, rest_positions(skeleton), strict=True))
    middle = at["Neo_Hips"][0]
    for name in [name for name in at if "_Left" in name]:
        mirrored = at[name.replace("Left", "Right")] * (-1, 1, 1) + (2 * middle, 0, 0)
        np.testing.assert_allclose(at[name], mirrored, atol=1e-3)
    arm = at["Neo_LeftHand"] - at["Neo_LeftArm"]
    assert arm[0] > 0.999 * np.linalg.norm(arm)  # to the left, which is +X for who looks along +Z
    leg = at["Neo_LeftFoot"] - at["Neo_LeftUpLeg"]
    assert leg[1] < -0.999 * np.linalg.norm(leg)
    still = answer["rest"][0][nodes_of(SAVED_IN_MOTION, answer)][..., 3] * float(answer["unit_m"])
    for joint, parent in enumerate(skeleton.parents.tolist()):
        if parent >= 0:
            found = np.linalg.norm(skeleton.rest_translations[joint])
            assert found == pytest.approx(np.linalg.norm(still[joint] - still[parent]), abs=1e-5)


@pytest.mark.parametrize("name", SKINNED)
def test_vertices_at_the_bind_pose_are_the_mesh_s(name, evaluated):
    answer = evaluated(name)
    (skin,) = asset(name).skins
    expected = answer["mesh_0"]
    follows = np.isfinite(expected).all(axis=1)
    assert len(skin.vertices) == follows.sum() > 500
    expected = expected[follows] * float(answer["unit_m"])
    assert np.linalg.norm(skin.vertices - expected, axis=1).max() < WITHIN_M
    assert np.abs(skin.weights.sum(axis=1) - 1.0).max() < 1e-12
    assert np.isfinite(skin.bind_positions[np.unique(skin.joints[skin.weights > 0.0])]).all()
    assert skin.triangles.max() == len(skin.vertices) - 1


def test_vertices_in_motion_are_the_binding_s(evaluated):
    """With the four strongest joints of each vertex, which is all that this mesh has."""
    name = "ufbx_kenney_character_7700_binary.fbx"
    (clip,), (skin,) = asset(name).clips, asset(name).skins
    expected = evaluated(name)["skinned_0"] * float(evaluated(name)["unit_m"])
    at, turned = placed(clip)
    bound = np.unique(skin.joints[skin.weights > 0.0])
    for frame in range(0, clip.frames, 5):
        found = np.zeros_like(skin.vertices)
        for joint in bound:
            weight = np.sum(skin.weights * (skin.joints == joint), axis=1)
            back = rotations.conjugate(skin.bind_rotations[joint][:, None])
            turn = rotations.multiply(turned[joint, :, frame][:, None], back)
            arms = (skin.vertices - skin.bind_positions[joint]).T
            moved = rotations.rotate(np.broadcast_to(turn, (4, arms.shape[1])), arms)
            found += weight[:, None] * (moved.T + at[joint, :, frame])
        assert np.linalg.norm(found - expected[frame], axis=1).max() < WITHIN_M


def test_a_take_without_curves_gives_a_note_and_no_clip():
    found = asset("ufbx_character_rest_6100_ascii.fbx")
    assert not found.clips
    (note,) = [note for note in found.notes if note.topic == "animation"]
    assert "'Take 001'" in note.text
    assert "Character1_Hips" in found.skeleton.names


def test_what_is_not_carried_over_is_said():
    said = {name: " ".join(note.text for note in asset(name).notes) for name in SKINNED}
    assert "1 animated property: 'FocalLength' (1)" in said[SKINNED[0]]
    assert "721 vertices" in said[SKINNED[0]]  # follow five joints or more
    assert "'filmboxTypeID' (58), 'lockInfluenceWeights' (45)" in said[SKINNED[1]]
    (clip,) = asset("cmu_85_04_breakdance_prefixed.fbx").clips
    assert any("1 key" in note.text for note in clip.notes)  # at 0 s, before the take


def test_names_keep_their_prefix_and_ends_of_chains_are_tips():
    danced = asset("cmu_85_04_breakdance_prefixed.fbx").skeleton
    assert all(name.startswith("Neo_") for name in danced.names)
    walked = asset("cmu_07_01_walk.fbx").skeleton
    ends = {walked.names[joint] for joint in np.flatnonzero(walked.tips)}
    assert len(ends) == 7  # head, hands, thumbs, toes; counted in the file
    assert not any(walked.children[joint] for joint in np.flatnonzero(walked.tips))


def test_a_finer_rate_that_was_asked_for_is_taken():
    path = real("fbx/assimp_animation_with_skeleton.fbx")
    (clip,) = read(path, ReadOptions(sample_rate_hz=60.0)).clips
    (usual,) = asset("assimp_animation_with_skeleton.fbx").clips
    assert clip.sample_rate_hz == 60.0
    assert clip.frames == 51
    np.testing.assert_allclose(positions(clip)[..., ::5], positions(usual)[..., ::2], atol=1e-9)


def test_a_text_that_was_cut_between_its_records_is_refused(tmp_path):
    lines = real("fbx/ufbx_character_rest_6100_ascii.fbx").read_bytes().splitlines(keepends=True)
    last = max(i for i, line in enumerate(lines) if line.startswith(b"Takes:"))
    borders = [i for i, line in enumerate(lines[:last]) if line.rstrip() in (b"}", b"\t}")]
    path = tmp_path / "cut.fbx"
    for border in borders[::20] + borders[-3:]:
        path.write_bytes(b"".join(lines[: border + 1]))
        with pytest.raises(AssetError, match=r"cut short|ends too early"):
            read(path)


def test_limits_hold_before_anything_is_sampled():
    path = real("fbx/cmu_07_01_walk.fbx")
    with pytest.raises(AssetError, match="317 frames"):
        read(path, ReadOptions(max_frames=300))
    with pytest.raises(AssetError, match="39 joints"):
        read(path, ReadOptions(max_joints=30))
    with pytest.raises(AssetError, match="bytes"):
        read(path, ReadOptions(max_bytes=1000))


def test_the_gate_judges_every_file():
    paths = [real(f"fbx/{name}") for name in FACTS]
    report = run(paths, load_policy(None, registry.load()), workers=0)
    assert not report.all_troubles()
    clips = {asset.path: clip for asset in report.assets for clip in asset.clips}
    assert len(clips) == len(MOVING)
    for clip in clips.values():
        assert all(one.outcome is not Outcome.CRASHED for one in clip.results)


def test_the_parts_found_are_those_that_the_names_say():
    for name in MOVING[1:]:
        (clip,) = asset(name).clips
        joints = identify(clip.skeleton, {}, clip).joints
        for part, word in (("thigh", "UpLeg"), ("forearm", "ForeArm"), ("foot", "Foot")):
            for side in ("left", "right"):
                called = clip.skeleton.names[joints[f"{side}_{part}"][0]]
                assert called.endswith(f"{side.capitalize()}{word}"), (name, part, called)


def test_a_walk_steps_left_and_right():
    """Heels bear in turn, each for about 0.6 of a cycle of 1.1 s (common practice, no source)."""
    (clip,) = asset("cmu_07_01_walk.fbx").clips
    clip = prepare(clip).clip
    motion = motion_of(clip, figure_of([clip], BodyHints(metres_per_unit=CAPTURE_UNIT_M)))
    heels = sorted((c for c in motion.derive(contacts) if c.point == "heel"), key=lambda c: c.first)
    assert len(heels) == 5
    assert all(a.side != b.side for a, b in pairwise(heels))
    for inner in heels[1:-1]:
        assert 0.3 < (inner.last - inner.first) / clip.sample_rate_hz < 0.7


def test_a_walk_in_its_true_unit_has_no_errors(tmp_path):
    real("fbx/cmu_07_01_walk.fbx")
    policy = tmp_path / "kinelint.toml"
    text = f'[[skeleton]]\nassets = ["*.fbx"]\nmetres_per_unit = {CAPTURE_UNIT_M}\n'
    policy.write_text(text)
    (tmp_path / "walk.fbx").write_bytes((folder() / "fbx/cmu_07_01_walk.fbx").read_bytes())
    report = run([tmp_path], load_policy(policy, registry.load()), workers=0)
    assert not report.all_troubles()
    ((clip,),) = [asset.clips for asset in report.assets]
    found = [finding for one in clip.results for finding in one.findings]
    assert all(one.level is not Level.ERROR for one in found)
