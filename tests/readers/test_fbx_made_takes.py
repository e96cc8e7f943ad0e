"""Takes, layers, rates and curves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from kinelint.readers import ReadOptions, read
from readers.fbx_writer import (
    ADDITIVE,
    CUSTOM,
    NTSC_FULL,
    OVERRIDE,
    OVERRIDE_PASSTHROUGH,
    TIME_MODES,
    Curve,
    Joint,
    Layer,
    Scene,
    Take,
    curves,
    frame_ticks,
    ticks,
)
from readers.fbx_writer_checks import (
    assert_moves_as_written,
    asset_of,
    clip_of,
    needs_fbx,
    positions_m,
)

pytestmark = needs_fbx
FRAMES = 21


def pair() -> list[Joint]:
    return [Joint("hips", -1, (0.0, 90.0, 0.0)), Joint("chest", 0, (0.0, 30.0, 5.0))]


def swinging(
    rate_hz: float, start_s: float = 0.0, frames: int = FRAMES, size: float = 30.0
) -> list[Curve]:
    """Keys at every frame."""
    at = frame_ticks(frames, rate_hz, start_s)
    phase = np.linspace(0.0, 4.0, frames)
    moved = [size * np.sin(phase), 90.0 + size * np.cos(phase), size * phase]
    turned = [size * phase, size * np.sin(phase), 90.0 * np.cos(phase)]
    return curves(0, "T", moved, at) + curves(1, "R", turned, at)


def take(rate_hz: float, start_s: float = 0.0, frames: int = FRAMES, **more: float) -> Take:
    layer = Layer(swinging(rate_hz, start_s, frames, **more))
    return Take("walk", [layer], start_s, start_s + (frames - 1) / rate_hz)


RATES = [(mode, -1.0, rate) for rate, mode in TIME_MODES.items()]
RATES += [(NTSC_FULL, -1.0, 30000 / 1001), (CUSTOM, 72.5, 72.5), (CUSTOM, 240.0, 240.0)]


@pytest.mark.parametrize(("mode", "custom_hz", "rate_hz"), RATES)
@pytest.mark.parametrize("version", [7400, 6100])
def test_every_rate(
    mode: int, custom_hz: float, rate_hz: float, version: int, tmp_path: Path
) -> None:
    one = take(rate_hz)
    scene = Scene(pair(), [one], time_mode=mode, custom_hz=custom_hz)
    clip = clip_of(scene, tmp_path, version)
    # 29.97 is written in many ways; all are nearer to each other than this.
    assert clip.sample_rate_hz == pytest.approx(rate_hz, rel=1e-4)
    assert clip.frames == FRAMES
    assert clip.start_s == pytest.approx(0.0, abs=1e-9)
    assert_moves_as_written(scene, one, clip)


@pytest.mark.parametrize("start_s", [1.7333, -0.5, 3600.0, 20 / 30])
def test_a_take_that_does_not_start_at_zero(start_s: float, tmp_path: Path) -> None:
    one = take(30.0, start_s)
    scene = Scene(pair(), [one])
    clip = clip_of(scene, tmp_path)
    assert clip.start_s == pytest.approx(start_s, abs=0.5 / 30.0)
    assert abs(clip.frames - FRAMES) <= 1
    assert_moves_as_written(scene, one, clip)


def test_a_take_without_span_lasts_as_long_as_its_keys(tmp_path: Path) -> None:
    one = Take("walk", [Layer(swinging(30.0, 0.5))])
    scene = Scene(pair(), [one])
    clip = clip_of(scene, tmp_path)
    assert clip.frames == FRAMES
    assert clip.start_s == pytest.approx(0.5)
    assert_moves_as_written(scene, one, clip)


def test_a_take_longer_than_its_keys_holds_them(tmp_path: Path) -> None:
    one = take(30.0)
    one.stop_s = 2.0
    scene = Scene(pair(), [one])
    clip = clip_of(scene, tmp_path)
    assert_moves_as_written(scene, one, clip)


def test_two_stacks_are_two_clips(tmp_path: Path) -> None:
    first, second = take(30.0), take(30.0, 2.0, 11, size=-20.0)
    first.name, second.name = "throw", "catch"
    scene = Scene(pair(), [first, second])
    clips = asset_of(scene, tmp_path).clips
    assert [clip.name for clip in clips] == ["throw", "catch"]
    assert [clip.frames for clip in clips] == [FRAMES, 11]
    for one, clip in zip(scene.takes, clips, strict=True):
        assert_moves_as_written(scene, one, clip)


def test_two_stacks_of_one_name_stay_apart(tmp_path: Path) -> None:
    scene = Scene(pair(), [take(30.0), take(30.0, size=10.0)])
    first, second = asset_of(scene, tmp_path).clips
    assert first.name != second.name
    assert_moves_as_written(scene, scene.takes[0], first)
    assert_moves_as_written(scene, scene.takes[1], second)


def test_a_take_of_version_6_beside_another(tmp_path: Path) -> None:
    first, second = take(30.0), take(30.0, 0.0, 11, size=-20.0)
    first.name, second.name = "throw", "catch"
    scene = Scene(pair(), [first, second])
    clips = asset_of(scene, tmp_path, 6100).clips
    assert [clip.name for clip in clips] == ["throw", "catch"]
    for one, clip in zip(scene.takes, clips, strict=True):
        assert_moves_as_written(scene, one, clip)


@pytest.mark.parametrize("version", [7400, 6100])
def test_a_take_with_no_curve_is_said_not_lost(version: int, tmp_path: Path) -> None:
    scene = Scene(pair(), [take(30.0), Take("rest", [Layer()], 0.0, 5.0)])
    asset = asset_of(scene, tmp_path, version)
    moving = [clip for clip in asset.clips if clip.name == "walk"]
    assert len(moving) == 1
    still = [clip for clip in asset.clips if clip.name == "rest"]
    said = [note.text for note in asset.notes]
    said += [note.text for clip in still for note in clip.notes]
    assert any("rest" in text or "curve" in text or "key" in text for text in said)
    for clip in still:
        assert_moves_as_written(scene, None, clip)


BLENDS = [
    (ADDITIVE, 100.0, False),
    (ADDITIVE, 40.0, False),
    (OVERRIDE, 100.0, False),
    (OVERRIDE, 25.0, False),
    (OVERRIDE_PASSTHROUGH, 100.0, False),
    (OVERRIDE_PASSTHROUGH, 25.0, False),
    (ADDITIVE, 0.0, False),
    (ADDITIVE, 100.0, True),
]


@pytest.mark.parametrize(("blend", "weight", "mute"), BLENDS)
def test_layers_are_blended(blend: int, weight: float, mute: bool, tmp_path: Path) -> None:
    """Turns about one axis: where quaternions and Euler angles accumulate to the same."""
    at = frame_ticks(FRAMES, 30.0)
    phase = np.linspace(0.0, 4.0, FRAMES)
    nothing = np.zeros(FRAMES)
    base = curves(0, "T", [phase, 90 + phase, nothing], at)
    base += curves(1, "R", [nothing, 40 * np.sin(phase), nothing], at)
    over = curves(0, "T", [9 * np.sin(phase), 5 * phase, phase], at)
    over += curves(1, "R", [nothing, 25 * np.cos(phase), nothing], at)
    layers = [Layer(base), Layer(over, "BaseLayer2", weight, blend, mute)]
    one = Take("walk", layers, 0.0, (FRAMES - 1) / 30.0)
    scene = Scene(pair(), [one])
    assert_moves_as_written(scene, one, clip_of(scene, tmp_path))


def layered(over: Layer, base: list[Curve]) -> Scene:
    take = Take("walk", [Layer(base), over], 0.0, (FRAMES - 1) / 30.0)
    return Scene(pair(), [take])


def test_a_weight_of_a_layer_that_changes(tmp_path: Path) -> None:
    at = frame_ticks(FRAMES, 30.0)
    phase, nothing = np.linspace(0.0, 4.0, FRAMES), np.zeros(FRAMES)
    over = curves(0, "T", [9 * np.sin(phase), 5 * phase, phase], at)
    over += curves(1, "R", [nothing, 25 * np.cos(phase), nothing], at)
    weights = (ticks([0.0, 0.3, 0.6]), [0.0, 100.0, 20.0])
    scene = layered(Layer(over, "BaseLayer2", weights=weights), swinging_about_y())
    assert_moves_as_written(scene, scene.takes[0], clip_of(scene, tmp_path))


def swinging_about_y() -> list[Curve]:
    at = frame_ticks(FRAMES, 30.0)
    phase, nothing = np.linspace(0.0, 4.0, FRAMES), np.zeros(FRAMES)
    base = curves(0, "T", [phase, 90 + phase, nothing], at)
    return base + curves(1, "R", [nothing, 40 * np.sin(phase), nothing], at)


@pytest.mark.parametrize("weight", [100.0, 35.0])
def test_layers_that_add_their_angles(weight: float, tmp_path: Path) -> None:
    scene = layered(
        Layer(swinging(30.0), "BaseLayer2", weight, by_channel=True), swinging(30.0, size=12.0)
    )
    scene.joints.append(Joint("head", 1, (3.0, 20.0, 9.0)))
    assert_moves_as_written(scene, scene.takes[0], clip_of(scene, tmp_path))


@pytest.mark.parametrize("weight", [100.0, 35.0])
def test_layers_multiply_scales(weight: float, tmp_path: Path) -> None:
    at = frame_ticks(FRAMES, 30.0)
    rng = np.random.default_rng(9)
    base = curves(0, "S", rng.uniform(0.5, 2.0, (3, FRAMES)), at)
    over = curves(0, "S", rng.uniform(0.5, 2.0, (3, FRAMES)), at)
    scene = layered(Layer(over, "BaseLayer2", weight), base)
    assert_moves_as_written(scene, scene.takes[0], clip_of(scene, tmp_path))


def test_keys_on_one_axis_only_leave_the_others_at_rest(tmp_path: Path) -> None:
    at = frame_ticks(FRAMES, 30.0)
    keyed = [Curve(1, "R", "Y", at, np.linspace(0.0, 80.0, FRAMES))]
    keyed += [Curve(0, "T", "X", at, np.linspace(0.0, 50.0, FRAMES))]
    joints = pair()
    joints[1].rotation_deg = (20.0, 0.0, -35.0)
    one = Take("walk", [Layer(keyed)], 0.0, (FRAMES - 1) / 30.0)
    scene = Scene(joints, [one])
    assert_moves_as_written(scene, one, clip_of(scene, tmp_path))


def test_reduced_keys_are_filled_in_by_the_format_s_own_interpolation(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    at = ticks([0.0, 0.2, 0.3, 0.7, 1.0])
    keyed = []
    for axis in "XYZ":
        slopes = rng.uniform(-100, 100, (5, 2))
        keyed.append(Curve(0, "T", axis, at, rng.uniform(-50, 50, 5), "cubic", slopes))
        keyed.append(Curve(1, "R", axis, at, rng.uniform(-60, 60, 5), "linear"))
    one = Take("walk", [Layer(keyed)], 0.0, 1.0)
    scene = Scene(pair(), [one])
    clip = clip_of(scene, tmp_path)
    assert clip.frames == 31
    assert_moves_as_written(scene, one, clip)


def test_stepped_keys_hold_until_the_next(tmp_path: Path) -> None:
    at = ticks([0.0, 0.2, 0.5, 1.0])
    keyed = [Curve(0, "T", "X", at, [0.0, 10.0, -20.0, 5.0], "constant")]
    scene = Scene(pair(), [Take("walk", [Layer(keyed)], 0.0, 1.0)])
    clip = clip_of(scene, tmp_path)
    found = positions_m(clip)[clip.skeleton.names.index("hips"), 0] * 100.0
    times_s = clip.start_s + clip.times_s
    # A frame within a microsecond of a key may fall to either side of it.
    clear = np.abs(times_s[:, None] - np.array([0.2, 0.5, 1.0])).min(axis=1) > 1e-6
    steps = np.select([times_s < 0.2, times_s < 0.5, times_s < 1.0], [0.0, 10.0, -20.0], 5.0)
    np.testing.assert_allclose(found[clear], steps[clear], atol=1e-3)


def test_a_turn_beyond_360_degrees_keeps_its_way_between_keys(tmp_path: Path) -> None:
    """Two keys a second apart, three whole turns: every frame between must lie on the way."""
    keyed = [Curve(1, "R", "Y", ticks([0.0, 1.0]), [0.0, 1080.0])]
    one = Take("walk", [Layer(keyed)], 0.0, 1.0)
    scene = Scene(pair(), [one])
    joints = scene.joints
    joints.append(Joint("hand", 1, (40.0, 0.0, 0.0)))
    assert_moves_as_written(scene, one, clip_of(scene, tmp_path))


def test_a_rate_that_was_asked_for_samples_keys_on_no_grid(tmp_path: Path) -> None:
    rng = np.random.default_rng(6)
    at = ticks(np.sort(np.concatenate(([0.0, 1.0], rng.uniform(0.0, 1.0, 9)))))
    one = Take("walk", [Layer(curves(0, "T", rng.uniform(-9, 9, (3, 11)), at))], 0.0, 1.0)
    scene = Scene(pair(), [one])
    path = scene.write(tmp_path / "made.fbx")
    for rate_hz in (60.0, 90.0):
        (clip,) = read(path, ReadOptions(sample_rate_hz=rate_hz)).clips
        assert clip.sample_rate_hz == pytest.approx(rate_hz, rel=0.02)
        assert_moves_as_written(scene, one, clip)


def test_one_frame(tmp_path: Path) -> None:
    one = take(30.0, frames=1)
    scene = Scene(pair(), [one])
    clip = clip_of(scene, tmp_path)
    assert clip.frames == 1
    assert_moves_as_written(scene, one, clip)
