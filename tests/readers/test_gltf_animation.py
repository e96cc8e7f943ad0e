"""glTF animations to clips, on files whose every number is known."""

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial.transform import Rotation, Slerp

from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.readers.gltf import READER
from kinelint.readers.options import ReadOptions
from readers.gltf_maker import GltfMaker

TIMES = np.arange(7) / 30


def read(maker: GltfMaker, folder, **options) -> Asset:
    return READER.read(maker.glb(folder / "boathook.glb"), ReadOptions(**options))


def about_x(degrees):
    """Quaternions as the file has them, scalar last."""
    return Rotation.from_euler("x", np.atleast_1d(degrees)[:, None], degrees=True).as_quat()


def topics(notes):
    return [one.topic for one in notes]


def test_a_linear_rotation_equals_scipy_slerp_between_its_keys(tmp_path):
    maker = GltfMaker()
    root, arm = maker.chain("deckhand", "arm")
    turns = Rotation.random(4, random_state=5)
    times = np.array([0.0, 0.1, 0.4, 0.9])
    maker.animation("haul", (arm, "rotation", times, turns.as_quat()))
    clip = read(maker, tmp_path).clips[0]
    expected = Slerp(times, turns)(np.minimum(clip.times_s, 0.9)).as_quat()[:, [3, 0, 1, 2]].T
    assert clip.frames == 28
    # Stored values are float32.
    assert rotations.angle_between(clip.rotations[arm], expected).max() < 1e-6
    np.testing.assert_allclose(np.linalg.norm(clip.rotations, axis=1), 1.0, atol=1e-12)
    np.testing.assert_array_equal(clip.rotations[root], np.tile(rotations.IDENTITY, 28))


def test_a_cubicspline_translation_equals_scipy_and_needs_the_gap_in_its_tangents(tmp_path):
    maker = GltfMaker()
    _, hip = maker.chain("deckhand", "hip")
    random = np.random.default_rng(6)
    times = np.array([0.0, 0.5, 0.7, 1.5])
    values, slopes = random.normal(size=(2, 4, 3))
    triples = np.stack((slopes, values, slopes), axis=1).reshape(-1, 3)
    maker.animation("push off", (hip, "translation", times, triples, "CUBICSPLINE"))
    clip = read(maker, tmp_path).clips[0]
    expected = CubicHermiteSpline(times, values, slopes)(clip.times_s).T
    assert clip.translated.tolist() == [hip]
    np.testing.assert_allclose(clip.translations[0], expected, atol=2e-6)


def test_a_cubicspline_rotation_is_interpolated_raw_and_normalised_afterwards(tmp_path):
    maker = GltfMaker()
    _, arm = maker.chain("deckhand", "arm")
    values = about_x([0.0, 90.0])
    zero = np.zeros((2, 4))
    triples = np.stack((zero, values, zero), axis=1).reshape(-1, 4)
    maker.animation("throw", (arm, "rotation", [0.0, 1.0], triples, "CUBICSPLINE"))
    clip = read(maker, tmp_path).clips[0]
    # By appendix C.5 at t = 1/4 with zero tangents: 27/32 v0 + 5/32 v1, then normalised.
    at = int(np.argmin(np.abs(clip.times_s - 4 / 15)))
    t = clip.times_s[at]
    mixed = (2 * t**3 - 3 * t**2 + 1) * values[0] + (3 * t**2 - 2 * t**3) * values[1]
    expected = (mixed / np.linalg.norm(mixed))[[3, 0, 1, 2]]
    np.testing.assert_allclose(clip.rotations[arm, :, at], expected, atol=1e-7)


def test_step_holds_each_value_until_the_next_key(tmp_path):
    maker = GltfMaker()
    _, arm = maker.chain("deckhand", "arm")
    maker.animation("grip", (arm, "rotation", [0.0, 0.5, 1.0], about_x([0, 40, 80]), "STEP"))
    clip = read(maker, tmp_path).clips[0]
    degrees = np.degrees(rotations.angle(clip.rotations[arm]))
    np.testing.assert_allclose(degrees, [0.0] * 15 + [40.0] * 15 + [80.0], atol=1e-4)


def test_channels_that_start_at_different_times_are_held_outside_their_keys(tmp_path):
    maker = GltfMaker()
    _, arm, hand = maker.chain("deckhand", "arm", "hand")
    late = np.array([0.2, 0.4])
    maker.animation(
        "catch",
        (arm, "rotation", [0.1, 0.6], about_x([0, 50])),
        (hand, "rotation", late, about_x([10, 30])),
    )
    clip = read(maker, tmp_path).clips[0]
    assert clip.start_s == pytest.approx(0.1)
    assert clip.duration_s == pytest.approx(0.5)
    np.testing.assert_allclose(clip.key_times_s, [0.1, 0.2, 0.4, 0.6], atol=1e-7)
    degrees = np.degrees(rotations.angle(clip.rotations[hand]))
    expected = np.interp(clip.times_s + 0.1, late, [10.0, 30.0])
    np.testing.assert_allclose(degrees, expected, atol=1e-4)


@pytest.mark.parametrize(
    ("dtype", "largest"), [("int8", 127), ("uint8", 255), ("int16", 32767), ("uint16", 65535)]
)
def test_normalised_integers_are_dequantised_as_section_3_11_has_it(tmp_path, dtype, largest):
    # f = max(c / largest, -1) for signed, c / largest for unsigned.
    maker = GltfMaker()
    _, arm = maker.chain("deckhand", "arm")
    low = np.iinfo(dtype).min
    stored = [[largest, 0, 0, 0], [low, 0, largest // 3, largest], [largest // 2, 0, 0, largest]]
    values = maker.accessor(stored, dtype, normalized=True)
    maker.animation("tie off", (arm, "rotation", [0.0, 0.5, 1.0], values))
    clip = read(maker, tmp_path).clips[0]
    real = np.maximum(np.array(stored) / largest, -1.0)
    real /= np.linalg.norm(real, axis=1, keepdims=True)
    expected = real[:, [3, 0, 1, 2]].T
    np.testing.assert_allclose(clip.rotations[arm][:, [0, 15, 30]], expected, atol=1e-12)


def test_constant_channels_at_rest_do_not_count_as_translated_or_scaled(tmp_path):
    maker = GltfMaker()
    root, arm, hand = maker.chain("deckhand", "arm", "hand", step=0.3)
    still = np.tile([0.0, 0.3, 0.0], (7, 1))
    moved = np.add(still, [0.0, 0.1, 0.0])
    ones = np.full((7, 3), 0.999999)
    maker.animation(
        "stand",
        (arm, "translation", TIMES, still),
        (hand, "translation", TIMES, moved),
        (arm, "scale", TIMES, ones),
        (hand, "scale", TIMES, ones * 1.2),
        (root, "rotation", TIMES, about_x(np.arange(7))),
    )
    clip = read(maker, tmp_path).clips[0]
    assert clip.translated.tolist() == [hand]
    np.testing.assert_allclose(clip.translations[0], moved.T, atol=1e-7)
    assert clip.scaled.tolist() == [hand]
    assert clip.is_scaled


def test_a_translation_that_is_not_a_number_reaches_the_clip(tmp_path):
    # Intake reports it with its frames; a reader that lost it would let it pass.
    maker = GltfMaker()
    _, hip = maker.chain("deckhand", "hip")
    values = np.tile([0.0, 1.0, 0.0], (7, 1))
    values[3, 1] = np.nan
    maker.animation("haul", (hip, "translation", TIMES, values))
    clip = read(maker, tmp_path).clips[0]
    assert clip.translated.tolist() == [hip]
    assert np.flatnonzero(np.isnan(clip.translations[0, 1])).tolist() == [3]


def test_every_animation_is_a_clip_with_a_name_of_its_own(tmp_path):
    maker = GltfMaker()
    (hip,) = maker.chain("hip")
    for name in ("walk", None, "walk", "walk (2)", ""):
        maker.animation(name, (hip, "rotation", TIMES, about_x(np.arange(7))))
    asset = read(maker, tmp_path)
    names = [clip.name for clip in asset.clips]
    assert names == ["walk", "animation 1", "walk (3)", "walk (2)", "animation 4"]
    assert [clip.source.clip_handle for clip in asset.clips] == [
        f"/animations/{i}" for i in range(5)
    ]
    assert topics(asset.notes) == ["clip-names"]


def test_a_single_key_is_one_frame_at_30_hz(tmp_path):
    maker = GltfMaker()
    (hip,) = maker.chain("hip")
    maker.animation("pose", (hip, "rotation", [0.5], about_x([20])))
    clip = read(maker, tmp_path).clips[0]
    assert (clip.frames, clip.sample_rate_hz, clip.start_s) == (1, 30.0, 0.5)
    assert np.degrees(rotations.angle(clip.rotations[0]))[0] == pytest.approx(20.0, abs=1e-4)


def test_the_callers_rate_holds_for_uneven_keys_and_is_noted(tmp_path):
    maker = GltfMaker()
    (hip,) = maker.chain("hip")
    maker.animation("step across", (hip, "rotation", [0.0, 0.013, 1.003], about_x([0, 1, 2])))
    clip = read(maker, tmp_path, sample_rate_hz=50.0).clips[0]
    assert clip.frames == 52
    assert clip.sample_rate_hz == pytest.approx(51 / 1.003)
    assert topics(clip.notes) == ["sampling", "sampling"]
    assert "instead of 50" in clip.notes[1].text


def test_morph_weights_are_kept_as_named_channels(tmp_path):
    maker = GltfMaker()
    positions = maker.accessor(np.zeros((3, 3)))
    targets = [{"POSITION": positions}, {"POSITION": positions}]
    mesh = maker.mesh("face", {"POSITION": positions}, targets=targets)
    maker.tree["meshes"][mesh]["extras"] = {"targetNames": ["smile"]}
    node = maker.node("bosun", mesh=mesh)
    weights = np.stack((np.linspace(0, 1, 7), np.linspace(1, 0, 7)), axis=1)
    maker.animation("grin", (node, "weights", TIMES, weights.reshape(-1)))
    asset = read(maker, tmp_path)
    clip = asset.clips[0]
    assert clip.weight_names == ("bosun smile", "bosun target 1")
    np.testing.assert_allclose(clip.weights, weights.T, atol=1e-7)
    assert clip.skeleton.names == ("bosun",)


def test_cubicspline_weights_stand_as_all_in_tangents_all_values_all_out_tangents(tmp_path):
    # glTF 2.0, appendix C.5: for each key a1 .. ak, v1 .. vk, b1 .. bk.
    maker = GltfMaker()
    node = maker.node("bosun")
    in_out, values = np.zeros((2, 2)), np.array([[0.0, 4.0], [1.0, 8.0]])
    stored = np.stack((in_out, values, in_out), axis=1).reshape(-1)
    maker.animation("grin", (node, "weights", [0.0, 1.0], stored, "CUBICSPLINE"))
    clip = read(maker, tmp_path).clips[0]
    np.testing.assert_allclose(clip.weights[:, 15], [0.5, 6.0], atol=1e-6)


def test_channels_without_a_node_are_left_out_and_noted(tmp_path):
    maker = GltfMaker()
    (hip,) = maker.chain("hip")
    maker.animation("look", (hip, "rotation", TIMES, about_x(np.arange(7))))
    channels = maker.tree["animations"][0]["channels"]
    channels.append({"sampler": 0, "target": {"path": "rotation"}})
    channels.append({"sampler": 0, "target": {"node": hip, "path": "rotation"}})
    clip = read(maker, tmp_path).clips[0]
    assert topics(clip.notes) == ["channels", "channels"]


def test_animation_pointers_to_node_properties_are_read(tmp_path):
    maker = GltfMaker()
    _, arm = maker.chain("hip", "arm")
    maker.animation("look", (arm, "rotation", TIMES, about_x(np.arange(7) * 5.0)))
    pointer = {"KHR_animation_pointer": {"pointer": f"/nodes/{arm}/rotation"}}
    maker.tree["animations"][0]["channels"][0]["target"] = {
        "path": "pointer",
        "extensions": pointer,
    }
    clip = read(maker, tmp_path).clips[0]
    degrees = np.degrees(rotations.angle(clip.rotations[arm]))
    np.testing.assert_allclose(degrees, np.arange(7) * 5.0, atol=1e-4)


def test_quaternions_that_are_not_unit_are_normalised_and_noted(tmp_path):
    maker = GltfMaker()
    (hip,) = maker.chain("hip")
    maker.animation("look", (hip, "rotation", TIMES, about_x(np.arange(7)) * 1.5))
    clip = read(maker, tmp_path).clips[0]
    np.testing.assert_allclose(np.linalg.norm(clip.rotations, axis=1), 1.0, atol=1e-12)
    assert topics(clip.notes) == ["rotations"]


def test_a_file_without_animation_is_an_asset_without_clips(tmp_path):
    maker = GltfMaker()
    maker.node("crate", mesh=maker.mesh("crate", {"POSITION": maker.accessor(np.zeros((3, 3)))}))
    asset = read(maker, tmp_path)
    assert asset.clips == ()
    assert "animation" in topics(asset.notes)


def test_an_empty_file_has_no_skeleton_and_says_so(tmp_path):
    asset = read(GltfMaker(), tmp_path)
    assert (asset.clips, asset.skeleton, asset.skins) == ((), None, ())
    assert topics(asset.notes) == ["animation", "skeleton"]


@pytest.mark.parametrize("mode", ["LINEAR", "STEP"])
def test_a_quaternion_of_zero_length_is_told_as_such(tmp_path, mode):
    maker = GltfMaker()
    _, arm = maker.chain("deckhand", "arm")
    values = np.repeat(about_x(20.0), 7, axis=0)
    values[3] = 0.0
    maker.animation("haul", (arm, "rotation", TIMES, values, mode))
    clip = read(maker, tmp_path).clips[0]
    (said,) = [one.text for one in clip.notes if one.topic == "rotations"]
    assert said.startswith("1 rotation channels hold quaternions of zero length")
    assert np.flatnonzero((clip.rotations[arm] == 0.0).all(axis=0)).tolist() == [3]
    with pytest.raises(AssetError, match="quaternion of zero length"):
        prepare(clip)
