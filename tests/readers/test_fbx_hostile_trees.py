"""Sound FBX records that say nonsense: cycles, strange numbers, connections to nowhere."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from kinelint.clip import Asset
from readers.fbx_writer_checks import needs_fbx
from readers.fbx_writer_held import Held
from readers.fbx_writer_modern import FIRST_ID
from readers.fbx_writer_records import Long, Named, Record, binary, text
from readers.fbx_writer_spoilt import record, shaken, small

pytestmark = needs_fbx
spellings = pytest.mark.parametrize("spell", [text, binary], ids=["text", "binary"])
HIPS, CHEST, HEAD = (Long(FIRST_ID + 1 + i) for i in range(3))
Spell = Callable[[list[Record], int], bytes]


def links(records: list[Record]) -> Record:
    return record(records, "Connections")


def spoil_cycle(records: list[Record]) -> None:
    links(records).children.insert(0, Record("C", ("OO", HIPS, HEAD)))


def spoil_only_cycle(records: list[Record]) -> None:
    for one in links(records).children:
        if one.values[:2] == ("OO", HIPS):
            one.values = ("OO", HIPS, HEAD)


def spoil_self_parent(records: list[Record]) -> None:
    links(records).children.insert(0, Record("C", ("OO", CHEST, CHEST)))


def spoil_two_parents(records: list[Record]) -> None:
    links(records).add("C", "OO", HEAD, HIPS)


def spoil_nowhere(records: list[Record]) -> None:
    links(records).add("C", "OO", HEAD, Long(999_999_999))
    links(records).add("C", "OO", Long(-1), HIPS)
    links(records).add("C", "OP", Long(2**63 - 1), Long(-(2**63)), "Lcl Translation")


def spoil_kinds(records: list[Record]) -> None:
    links(records).add("C", "XX", HEAD, HIPS)
    links(records).add("C", "OO")
    links(records).add("C", 1, 2, 3)
    links(records).add("C", "OP", HEAD, HIPS)
    links(records).add("C", "PP", HEAD, "a", HIPS, "b")


def spoil_double_ids(records: list[Record]) -> None:
    for one in record(records, "Objects").children:
        if one.name == "Model":
            one.values = (HIPS, *one.values[1:])


def spoil_zero_id(records: list[Record]) -> None:
    record(records, "Model").values = (Long(0), Named("hips", "Model"), "LimbNode")


def spoil_values_of_objects(records: list[Record]) -> None:
    for number, one in enumerate(record(records, "Objects").children):
        one.values = one.values[: number % 3]


def spoil_deformer_cycle(records: list[Record]) -> None:
    deformers = [
        one.values[0] for one in record(records, "Objects").children if one.name == "Deformer"
    ]
    for one in deformers:
        for other in deformers:
            links(records).add("C", "OO", one, other)


def spoil_layers_in_a_ring(records: list[Record]) -> None:
    objects = record(records, "Objects").children
    stack = next(one.values[0] for one in objects if one.name == "AnimationStack")
    layer = next(one.values[0] for one in objects if one.name == "AnimationLayer")
    for one, other in ((stack, layer), (layer, layer), (stack, stack), (layer, HIPS)):
        links(records).add("C", "OO", one, other)


def spoil_geometry_as_joint(records: list[Record]) -> None:
    objects = record(records, "Objects").children
    for one in objects:
        if one.name in ("Geometry", "Deformer", "AnimationCurve"):
            links(records).add("C", "OO", HIPS, one.values[0])


def spoil_no_connections(records: list[Record]) -> None:
    links(records).children.clear()


def spoil_no_objects(records: list[Record]) -> None:
    record(records, "Objects").children.clear()


def spoil_no_header(records: list[Record]) -> None:
    records[0].children.clear()


def spoil_twice(records: list[Record]) -> None:
    records += records[1:]


def spoil_negative_indices(records: list[Record]) -> None:
    record(records, "PolygonVertexIndex").values = (np.array([0, -5, 99999, 2**31 - 1], np.int32),)


def spoil_cluster_indices(records: list[Record]) -> None:
    record(records, "Indexes").values = (np.array([-1, 0, 2**31 - 1, 4], np.int32),)


def spoil_weights(records: list[Record]) -> None:
    record(records, "Weights").values = (np.array([np.nan, np.inf, -1.0, 1e308]),)


def spoil_weights_short(records: list[Record]) -> None:
    record(records, "Weights").values = (np.array([1.0]),)


def spoil_bind(records: list[Record]) -> None:
    record(records, "TransformLink").values = (np.full(16, np.nan),)
    record(records, "Transform").values = (np.zeros(3),)


def spoil_singular_bind(records: list[Record]) -> None:
    record(records, "TransformLink").values = (np.zeros(16),)
    record(records, "Transform").values = (np.zeros(16),)


def spoil_vertices(records: list[Record]) -> None:
    record(records, "Vertices").values = (np.array([np.nan, 1e308, -np.inf, 0.0]),)


def spoil_key_arrays(records: list[Record]) -> None:
    record(records, "KeyValueFloat").values = (np.array([1.0], np.float32),)
    record(records, "KeyAttrRefCount").values = (np.array([2**31 - 1], np.int32),)
    record(records, "KeyAttrFlags", 1).values = (np.array([-1], np.int32),)
    record(records, "KeyAttrRefCount", 2).values = (np.array([-7], np.int32),)
    record(records, "KeyAttrDataFloat", 3).values = (np.zeros(1, np.float32),)


def spoil_settings(records: list[Record]) -> None:
    for one in record(records, "GlobalSettings").walk():
        if one.name == "P":
            one.values = (*one.values[:-1], 77)


def spoil_axes(records: list[Record]) -> None:
    """One axis both up and front."""
    for one in record(records, "GlobalSettings").walk():
        if one.name == "P" and one.values[0] in ("UpAxis", "FrontAxis", "CoordAxis"):
            one.values = (*one.values[:-1], 1)


def spoil_types(records: list[Record]) -> None:
    """Words for numbers, numbers for words."""
    for top in records:
        for one in top.walk():
            if one.name == "P":
                one.values = tuple("x" if isinstance(v, int | float) else 3 for v in one.values)


SPOILERS = [value for name, value in sorted(globals().items()) if name.startswith("spoil_")]


@spellings
@pytest.mark.parametrize("spoil", SPOILERS, ids=lambda one: one.__name__.removeprefix("spoil_"))
def test_records_that_make_no_sense(
    spoil: Callable[[list[Record]], None], spell: Spell, tmp_path: Path
) -> None:
    records = small(mesh=True).records(7400)
    spoil(records)
    held = Held(tmp_path)
    held.read(spell(records, 7400), label=spoil.__name__)
    assert not held.lost


@pytest.mark.parametrize("version", [7400, 6100])
@pytest.mark.parametrize("seed", range(4))
@spellings
def test_trees_that_were_shaken(version: int, seed: int, spell: Spell, tmp_path: Path) -> None:
    held = Held(tmp_path)
    rng = np.random.default_rng((version, seed))
    for number in range(15):
        records = small(mesh=version > 7000).records(version)
        shaken(records, rng, steps=1 + number % 5)
        held.read(spell(records, version), label=f"{number}")
    assert held.came["read"]
    assert not held.lost


@spellings
def test_a_cycle_of_parents_is_refused_or_cut(spell: Spell, tmp_path: Path) -> None:
    records = small().records(7400)
    spoil_only_cycle(records)
    found = Held(tmp_path).read(spell(records, 7400))
    if isinstance(found, Asset):
        assert found.skeleton is not None
        assert (found.skeleton.parents < np.arange(len(found.skeleton))).all()
