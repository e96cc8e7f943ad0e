"""What an FBX file holds beyond joints and their curves is said, once for each kind."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from kinelint.clip import Asset
from kinelint.readers import read
from readers.fbx_writer import Joint, Layer, Scene, Take, curves, frame_ticks
from readers.fbx_writer_checks import needs_fbx

pytestmark = needs_fbx

CONSTRAINT = """
	Constraint: {id}, "Constraint::hold {id}", "{kind}" {{
		Type: "{kind}"
		MultiLayer: 0
	}}
"""
CURVE_NODE = """
	AnimationCurveNode: {id}, "AnimCurveNode::{name}", "" {{
		Properties70:  {{
			P: "d|{name}", "Number", "", "A",1
		}}
	}}
"""


def asset_with(objects: str, connections: str, folder: Path) -> Asset:
    """Two joints, the second turning; with more objects and connections written in."""
    turns = curves(1, "R", np.linspace(0.0, 40.0, 9).reshape(3, 3), frame_ticks(3, 30.0))
    joints = [Joint("hips", -1, (0.0, 90.0, 0.0)), Joint("hand", 0, (40.0, 0.0, 0.0))]
    path = Scene(joints, [Take("haul", [Layer(turns)], 0.0, 2 / 30)]).write(folder / "made.fbx")
    text = path.read_text()
    for section, more in (("Objects", objects), ("Connections", connections)):
        start = text.index(f"\n{section}:")
        brace = text.index("{", start) + 1
        text = text[:brace] + "\n" + more + text[brace:]
    path.write_text(text)
    return read(path)


def said(asset: Asset, topic: str) -> list[str]:
    return [note.text for note in asset.notes if note.topic == topic]


def test_constraints_are_counted_by_kind(tmp_path):
    kinds = ["Parent-Child", "Parent-Child", "Aim"]
    objects = "".join(CONSTRAINT.format(id=700 + i, kind=kind) for i, kind in enumerate(kinds))
    connections = "".join(f'\tC: "OO",{700 + i},0\n' for i in range(3))
    found = asset_with(objects, connections, tmp_path)
    (text,) = said(found, "constraints")
    kinds_told = "not evaluated: 3 constraints: 'Parent-Child' (2), 'Aim' (1)"
    assert text == f"{kinds_told}; named 'hold 700', 'hold 701', 'hold 702'"
    assert not said(found, "file")
    assert len(found.clips) == 1


def test_curves_of_what_no_clip_carries_are_counted_by_name(tmp_path):
    plain = asset_with("", "", tmp_path)
    assert not said(plain, "channels")
    text = (tmp_path / "made.fbx").read_text()
    layer, model = (
        re.findall(rf"\t{kind}: (\d+),", text)[-1] for kind in ("AnimationLayer", "Model")
    )
    names = ["Visibility", "grip", "grip strength"]
    objects = "".join(CURVE_NODE.format(id=800 + i, name=name) for i, name in enumerate(names))
    connections = "".join(
        f'\tC: "OO",{800 + i},{layer}\n\tC: "OP",{800 + i},{model}, "{name}"\n'
        for i, name in enumerate(names)
    )
    found = asset_with(objects, connections, tmp_path)
    (text,) = said(found, "channels")
    assert text.startswith("no clip carries 3 animated properties: ")
    assert all(f"{name!r} (1)" in text for name in names)
    np.testing.assert_array_equal(found.clips[0].rotations, plain.clips[0].rotations)
