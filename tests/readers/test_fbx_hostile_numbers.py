"""Sound FBX records with strange numbers: values, times, rates, spans, units and scales."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.intake import prepare
from readers.fbx_writer import CUSTOM, Curve, Joint, Layer, Scene, Take, curves, frame_ticks
from readers.fbx_writer_checks import assert_moves_as_written, needs_fbx, positions_m
from readers.fbx_writer_held import Held
from readers.fbx_writer_records import Record, binary, text
from readers.fbx_writer_spoilt import small

pytestmark = needs_fbx
spellings = pytest.mark.parametrize("spell", [text, binary], ids=["text", "binary"])
Spell = Callable[[list[Record], int], bytes]

SINGLE_MOST = 3.4e38
ODD = [math.nan, math.inf, -math.inf, 1e38, 3.5e38, 1e-45, 1e308]


@spellings
@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize("path", ["T", "R", "S"])
def test_odd_values_of_keys(path: str, odd: float, spell: Spell, tmp_path: Path) -> None:
    scene = small()
    with np.errstate(over="ignore"):
        values = np.array([[0.0, 1.0, odd, 1.0]] * 3)
        scene.takes[0].layers[0].curves = curves(1, path, values, frame_ticks(4, 30.0))
        data = spell(scene.records(7400), 7400)
    held = Held(tmp_path)
    found = held.read(data)
    assert not held.lost
    if isinstance(found, Asset) and not abs(odd) < SINGLE_MOST:
        # The reader stays true to the file; intake lets nothing through that is not finite.
        with pytest.raises(AssetError, match="chest"):
            prepare(found.clips[0])


@spellings
@pytest.mark.parametrize("odd", [math.nan, math.inf, 1e308, 0.0, -0.0])
@pytest.mark.parametrize(
    "where", ["translation", "rotation_deg", "scale", "pre_deg", "rotation_pivot", "scaling_pivot"]
)
def test_odd_values_of_models(where: str, odd: float, spell: Spell, tmp_path: Path) -> None:
    scene = small()
    setattr(scene.joints[1], where, (odd, 1.0, odd))
    held = Held(tmp_path)
    found = held.read(spell(scene.records(7400), 7400))
    assert not held.lost
    if isinstance(found, Asset) and math.isfinite(odd) and abs(odd) < 1.0:
        (clip,) = found.clips
        assert_moves_as_written(scene, scene.takes[0], clip)


@pytest.mark.parametrize("huge", [1e6, 1e38, -1e38, 1e150])
@pytest.mark.parametrize("axes", [(0, 1, 2), (2,)], ids=str)
def test_huge_scales(huge: float, axes: tuple[int, ...], tmp_path: Path) -> None:
    """On one joint, and on every joint of a chain, where they multiply.

    Turns about one axis, many of them: whatever divides by such a scale meets an exact zero.
    """
    held = Held(tmp_path)
    scene = chain(6, frames=200)
    over_time = scene.takes[0].layers[0].curves
    for inherit, which in ((1, [1]), (0, [1, 2, 3, 4, 5]), (2, [1, 2, 3, 4, 5])):
        for number, joint in enumerate(scene.joints):
            x, y, z = (huge if axis in axes and number in which else 1.0 for axis in range(3))
            joint.scale, joint.inherit = (x, y, z), inherit
        held.read(scene.spelled(ascii_text=False), label=f"inherit {inherit}, joints {which}")
        if abs(huge) < SINGLE_MOST:
            grown = [[1.0, huge if axis in axes else 1.0] for axis in range(3)]
            scene.takes[0].layers[0].curves = over_time + [
                one for i in which for one in curves(i, "S", grown, frame_ticks(2, 30.0))
            ]
            held.read(scene.spelled(ascii_text=False), label=f"over time, inherit {inherit}")
            scene.takes[0].layers[0].curves = over_time
    assert not held.lost


def chain(joints: int, frames: int) -> Scene:
    """Joints that all turn about X, each the child of the one before."""
    rng = np.random.default_rng(joints)
    at = frame_ticks(frames, 30.0)
    made, keyed = [], []
    for i in range(joints):
        made.append(Joint(f"j{i}", i - 1, (0.0, 10.0, 1.0)))
        keyed.append(Curve(i, "R", "X", at, rng.uniform(-60, 60, frames)))
    return Scene(made, [Take("row", [Layer(keyed)], 0.0, (frames - 1) / 30.0)])


@pytest.mark.parametrize("unit_cm", [0.0, -1.0, math.nan, math.inf, 1e300, 1e-300])
@spellings
def test_odd_units(unit_cm: float, spell: Spell, tmp_path: Path) -> None:
    scene = small()
    scene.unit_cm = unit_cm
    held = Held(tmp_path)
    held.read(spell(scene.records(7400), 7400))
    assert not held.lost


RATES = [0.0, -5.0, math.nan, math.inf, 1e-9, 1e9, 1e300]


@pytest.mark.parametrize("rate_hz", RATES)
@spellings
def test_odd_custom_rates(rate_hz: float, spell: Spell, tmp_path: Path) -> None:
    scene = small()
    scene.time_mode, scene.custom_hz = CUSTOM, rate_hz
    held = Held(tmp_path)
    found = held.read(spell(scene.records(7400), 7400))
    assert not held.lost
    if isinstance(found, Asset):
        (clip,) = found.clips
        assert 1.0 <= clip.sample_rate_hz <= 1000.0
        assert_moves_as_written(scene, scene.takes[0], clip)


@pytest.mark.parametrize("mode", [-1, 0, 15, 18, 99, 2**31 - 1])
@spellings
def test_odd_time_modes(mode: int, spell: Spell, tmp_path: Path) -> None:
    scene = small()
    scene.time_mode = mode
    held = Held(tmp_path)
    found = held.read(spell(scene.records(7400), 7400))
    assert not held.lost
    if isinstance(found, Asset):
        (clip,) = found.clips
        assert_moves_as_written(scene, scene.takes[0], clip)


def timed(at: list[int], values: list[float] | None = None) -> Scene:
    scene = small()
    rising = np.arange(len(at), dtype=float) if values is None else values
    scene.takes = [Take("row", [Layer([Curve(0, "T", "X", np.array(at, np.int64), rising)])])]
    return scene


S = 46_186_158_000
TIMES = {
    "falling": [3 * S, 2 * S, S],
    "equal": [S, S, S],
    "two equal": [0, S, S, 2 * S],
    "least and most": [-(2**63), 2**63 - 1],
    "most": [2**63 - 1],
    "six years": [0, 190_000_000 * S],
    "a tick apart": [0, 1, 2, 3],
    "between ticks of any rate": [0, 12345, 7 * 12345, 999_999_937],
}


@spellings
@pytest.mark.parametrize("name", TIMES)
def test_odd_times_of_keys(name: str, spell: Spell, tmp_path: Path) -> None:
    held = Held(tmp_path)
    found = held.read(spell(timed(TIMES[name]).records(7400), 7400), label=name)
    assert not held.lost
    if isinstance(found, Asset):
        for clip in found.clips:
            assert np.isfinite(positions_m(clip)).all()


@spellings
@pytest.mark.parametrize(
    ("start_s", "stop_s"),
    [(1.0, 0.0), (0.5, 0.5), (-1e8, 1e8), (0.0, 1.9e8), (1e8, 1e8 + 1), (-1.9e8, -1.8e8)],
)
def test_odd_spans_of_takes(start_s: float, stop_s: float, spell: Spell, tmp_path: Path) -> None:
    scene = small()
    scene.takes[0].start_s, scene.takes[0].stop_s = start_s, stop_s
    held = Held(tmp_path)
    found = held.read(spell(scene.records(7400), 7400))
    assert not held.lost
    if isinstance(found, Asset):
        (clip,) = found.clips
        assert_moves_as_written(scene, scene.takes[0], clip)


def test_bones_of_no_length(tmp_path: Path) -> None:
    scene = small()
    for joint in scene.joints:
        joint.translation = (0.0, 0.0, 0.0)
    clip = Held(tmp_path).clip(scene.spelled())
    assert_moves_as_written(scene, scene.takes[0], clip)


@pytest.mark.parametrize("scale", [(0.0, 0.0, 0.0), (0.0, 1.0, 1.0), (1e-30, 1e-30, 1e-30)])
@pytest.mark.parametrize("inherit", [0, 1, 2])
def test_no_scale(scale: tuple[float, float, float], inherit: int, tmp_path: Path) -> None:
    scene = small()
    scene.joints[1].scale = scale
    for joint in scene.joints:
        joint.inherit = inherit
    held = Held(tmp_path)
    found = held.read(scene.spelled())
    assert not held.lost
    if isinstance(found, Asset) and inherit == 1:
        (clip,) = found.clips
        assert_moves_as_written(scene, scene.takes[0], clip)


def test_one_joint_one_key(tmp_path: Path) -> None:
    take = Take("row", [Layer([Curve(0, "R", "X", [0], [10.0])])])
    scene = Scene([Joint("hook", -1, (1.0, 2.0, 3.0))], [take])
    clip = Held(tmp_path).clip(scene.spelled())
    assert clip.frames >= 1
    assert_moves_as_written(scene, take, clip)


@spellings
def test_curves_of_no_keys(spell: Spell, tmp_path: Path) -> None:
    held = Held(tmp_path)
    scene = timed([])
    found = held.read(spell(scene.records(7400), 7400))
    assert not held.lost
    if isinstance(found, Asset):
        said = [*found.notes, *(note for clip in found.clips for note in clip.notes)]
        assert said, "a take without motion went through in silence"
