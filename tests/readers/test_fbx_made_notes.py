"""What a file holds and a clip does not carry is said, once a kind."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from kinelint.clip import Asset
from kinelint.readers import read
from readers.fbx_writer import Curve, Joint, Layer, Scene, Take, curves, frame_ticks
from readers.fbx_writer_checks import assert_moves_as_written, needs_fbx
from readers.fbx_writer_modern import FIRST_ID
from readers.fbx_writer_records import Long, Record, text
from readers.fbx_writer_spoilt import record, small

pytestmark = needs_fbx
AT = frame_ticks(4, 30.0)


def said(asset: Asset) -> list[str]:
    return [one.text for one in (*asset.notes, *(n for clip in asset.clips for n in clip.notes))]


def read_records(records: list[Record], folder: Path) -> Asset:
    path = folder / "made.fbx"
    path.write_bytes(text(records, 7400))
    return read(path)


def animate(records: list[Record], node: Long, prop: str, number: int) -> None:
    """Two keys on another property of a model."""
    objects, links = record(records, "Objects"), record(records, "Connections")
    layer = next(one.values[0] for one in objects.children if one.name == "AnimationLayer")
    holder, curve = Long(700_000 + number), Long(800_000 + number)
    objects.add("AnimationCurveNode", holder, "AnimCurveNode::x", "")
    one = objects.add("AnimationCurve", curve, "AnimCurve::", "")
    one.add("KeyTime", AT[:2])
    one.add("KeyValueFloat", np.array([0.0, 1.0], np.float32))
    one.add("KeyAttrFlags", np.array([4], np.int32))
    one.add("KeyAttrDataFloat", np.zeros(4, np.float32))
    one.add("KeyAttrRefCount", np.array([2], np.int32))
    links.add("C", "OO", holder, layer)
    links.add("C", "OP", holder, node, prop)
    links.add("C", "OP", curve, holder, f"d|{prop}")


def test_animated_properties_that_no_clip_carries(tmp_path: Path) -> None:
    records = small().records(7400)
    for number in range(3):
        animate(records, Long(FIRST_ID + 1 + number), "Visibility", 2 * number)
        animate(records, Long(FIRST_ID + 1 + number), "grip", 2 * number + 1)
    asset = read_records(records, tmp_path)
    notes = [one for one in said(asset) if "Visibility" in one]
    assert len(notes) == 1
    assert "6" in notes[0]
    assert "grip" in notes[0]
    scene = small()
    assert_moves_as_written(scene, scene.takes[0], asset.clips[0])


@pytest.mark.parametrize("kind", ["Parent-Child", "Position From Positions", "Single Chain IK"])
def test_constraints_that_are_not_evaluated(kind: str, tmp_path: Path) -> None:
    records = small().records(7400)
    objects, links = record(records, "Objects"), record(records, "Connections")
    for number in range(5):
        one = objects.add("Constraint", Long(600_000 + number), f"Constraint::c{number}", kind)
        one.add("Type", kind)
        links.add("C", "OP", Long(FIRST_ID + 1), Long(600_000 + number), "Constrained Object")
    asset = read_records(records, tmp_path)
    notes = [one for one in said(asset) if "constraint" in one]
    assert len(notes) == 1
    assert "5" in notes[0]
    assert "named 'c0', 'c1', 'c2', 'c3' and 1 more" in notes[0]


def test_keys_outside_the_take(tmp_path: Path) -> None:
    scene = small()
    scene.takes[0].stop_s = 1 / 30.0
    path = scene.write(tmp_path / "made.fbx")
    asset = read(path)
    assert any("outside" in one for one in said(asset))
    assert_moves_as_written(scene, scene.takes[0], asset.clips[0])


def test_scale_keys_are_carried_or_named(tmp_path: Path) -> None:
    scene = small()
    grown = np.linspace(1.0, 1.5, 4) * np.ones((3, 1))
    scene.takes[0].layers[0].curves += curves(1, "S", grown, AT)
    asset = read(scene.write(tmp_path / "made.fbx"))
    (clip,) = asset.clips
    assert clip.is_scaled or any("scale" in one for one in said(asset))
    assert_moves_as_written(scene, scene.takes[0], clip)


def test_left_handed_axes_are_named(tmp_path: Path) -> None:
    scene = small()
    scene.axes.coord_sign = -1
    assert any("hand" in one for one in said(read(scene.write(tmp_path / "made.fbx"))))


def test_axes_of_which_two_are_one_are_told(tmp_path: Path) -> None:
    scene = small()
    scene.axes.up = scene.axes.coord = 0
    asset = read(scene.write(tmp_path / "made.fbx"))
    assert any("two of the file's axes are one" in one for one in said(asset))
    assert asset.clips[0].up_axis is None


@pytest.mark.parametrize(
    ("mode", "custom_hz", "told"),
    [
        (14, 1e9, "the file's frame rate, 1e+09 Hz, is none of motion and was set aside"),
        (999, 30.0, "the time mode 999 is none of FBX's; 24 Hz were taken"),
    ],
)
def test_rates_that_are_none_are_told(
    mode: int, custom_hz: float, told: str, tmp_path: Path
) -> None:
    scene = small()
    scene.time_mode, scene.custom_hz = mode, custom_hz
    asset = read(scene.write(tmp_path / "made.fbx"))
    assert told in said(asset)
    assert asset.clips[0].key_times_s is not None
    assert len(asset.clips[0].key_times_s) == 4


def test_a_rate_raised_for_the_keys_is_told(tmp_path: Path) -> None:
    at = frame_ticks(7, 60.0)
    scene = small()
    turned = np.linspace(0.0, 40.0, 7) * np.ones((3, 1))
    scene.takes = [Take("row", [Layer(curves(0, "R", turned, at))], 0.0, 6 / 60.0)]
    (clip,) = read(scene.write(tmp_path / "made.fbx")).clips
    assert clip.sample_rate_hz == pytest.approx(60.0)
    text = "the file's frame rate is 30 Hz, its keys stand on frames at 60 Hz; sampled at 60 Hz"
    assert [one.text for one in clip.notes] == [text]


def test_many_takes_that_move_nothing_are_one_note(tmp_path: Path) -> None:
    scene = small()
    scene.takes += [Take(f"rest {i}", [Layer()], 0.0, 1.0) for i in range(50)]
    notes = said(read(scene.write(tmp_path / "made.fbx")))
    assert len(notes) <= 3
    assert any("rest 0" in one for one in notes)


def test_a_plain_file_has_no_notes(tmp_path: Path) -> None:
    assert not said(read(small().write(tmp_path / "made.fbx")))


def test_a_thousand_oddities_are_few_notes(tmp_path: Path) -> None:
    joints = [Joint(f"j{i}", i - 1 if i % 10 else -1, (0.0, 10.0, 0.0)) for i in range(200)]
    keyed = [Curve(i, "S", "X", AT, [1.0, 2.0, 1.0, 0.5]) for i in range(200)]
    scene = Scene(joints, [Take("row", [Layer(keyed)], 0.0, 0.1)])
    records = scene.records(7400)
    for number in range(200):
        animate(records, Long(FIRST_ID + 1 + number), f"custom{number}", number)
    notes = said(read_records(records, tmp_path))
    assert 1 <= len(notes) <= 5
    assert all(len(one) < 500 for one in notes)
