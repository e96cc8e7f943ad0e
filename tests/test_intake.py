"""No sample that is not a number reaches a rule; a leading reference pose is set aside."""

import numpy as np
import pytest

from kinelint import synthetic
from kinelint.clip import Clip, Source
from kinelint.errors import AssetError
from kinelint.intake import prepare
from real_data import real


def _with(clip, **changes):
    fields = {name: getattr(clip, name) for name in clip.__dataclass_fields__}
    return Clip(**(fields | changes))


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_bad_rotation_is_refused_with_frame_line_and_joint(value):
    clip = synthetic.clip(frames=20)
    rotations = np.array(clip.rotations)
    rotations[clip.skeleton.names.index("left_shank"), 2, 7] = value
    lines = np.arange(100, 120)
    source = Source("bvh", frame_lines=lines)
    with pytest.raises(AssetError) as caught:
        prepare(_with(clip, rotations=rotations, source=source))
    assert "left_shank" in str(caught.value)
    assert "frame 7, line 107" in str(caught.value)


def test_a_bad_translation_is_refused():
    clip = synthetic.clip(frames=20)
    translations = np.array(clip.translations)
    translations[0, 1, 3] = np.nan
    with pytest.raises(AssetError, match="translation of 'pelvis' is not a number"):
        prepare(_with(clip, translations=translations))


def test_a_rotation_without_length_is_refused():
    clip = synthetic.clip(frames=20)
    rotations = np.array(clip.rotations)
    rotations[4, :, 5] = 0.0
    with pytest.raises(AssetError, match="quaternion of zero length") as caught:
        prepare(_with(clip, rotations=rotations))
    assert "frame 5" in caught.value.place
    rotations[4, :, 5] = 0.5, 0.5, 0.5, 0.0
    with pytest.raises(AssetError, match="no unit length"):
        prepare(_with(clip, rotations=rotations))


def _with_reference_pose(first_deg=0.0):
    arms = np.concatenate(([first_deg], 60 + 5 * np.sin(np.arange(60) / 9.0)))
    turns = {f"{s}_{p}": [("Z", arms)] for s in ("left", "right") for p in ("upper_arm", "forearm")}
    return synthetic.clip(frames=61, turns=turns)


def test_a_leading_reference_pose_is_cut_and_noted():
    prepared = prepare(_with_reference_pose())
    assert prepared.clip.frames == 60
    assert prepared.clip.frame_offset == 1
    assert [note.topic for note in prepared.notes] == ["reference-pose"]


def test_a_pop_that_does_not_start_from_the_rest_pose_stays():
    prepared = prepare(_with_reference_pose(first_deg=20.0))
    assert prepared.clip.frames == 61
    assert prepared.notes == ()


@pytest.mark.parametrize(
    ("name", "leads"),
    [
        # Which files begin with a reference pose: the data's own description.
        ("bvh/cmu_12_01_walk_tpose0.bvh", True),
        ("bvh/cmu_13_26_gestures_trim1000.bvh", True),
        ("bvh/cmu_10_03_soccer_43j.bvh", True),
        ("bvh/cmu_02_01_walk.bvh", False),
        ("bvh/accad_male1_b3_walk.bvh", False),
        ("bvh/accad_martialarts_e1_jab_left.bvh", False),
        ("bvh/fair1_dab_zup.bvh", False),
        ("bvh/cmu_131_01_start_walk_stop.bvh", False),
    ],
)
def test_real_takes(name, leads):
    from kinelint.readers import read

    prepared = prepare(read(real(name)).clips[0])
    assert bool(prepared.notes) is leads
