"""Broken and hostile USD files: each is read rightly or refused by one AssetError.

Whatever may end a process is read through the host, as in a run of the gate.
"""

from __future__ import annotations

import math
import struct
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pxr", reason="usd-core is not installed")

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pxr import Usd, Vt

from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.readers import read
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd import read_usd
from readers.usd_maker import UsdMaker, crew, random_quaternions, shift
from readers.usd_oracle import furthest_mm, skeleton_query

OPTIONS = ReadOptions()
QUICK = settings(
    max_examples=200,
    deadline=None,
    database=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def whole(maker: UsdMaker) -> UsdMaker:
    """A scene with something of all that is read."""
    rng = np.random.default_rng(4)
    maker.shapes("/Crew/Anim", ["smile", "blink"], range(13), rng.uniform(0, 1, (13, 2)))
    maker.mesh(
        "/Crew/Body",
        rng.normal(0, 1, (6, 3)),
        [3, 3],
        range(6),
        indices=[0, 1] * 6,
        weights=[0.5] * 12,
        width=2,
    )
    return maker


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("good")
    maker = whole(crew(np.random.default_rng(4)))
    return {
        ending: maker.save(folder / f"good.{ending}").read_bytes()
        for ending in ("usda", "usdc", "usdz")
    }


def outcome(file: Path) -> Asset | None:
    """What the gate would get; None for a refusal that says enough."""
    try:
        asset = read(file, OPTIONS)
    except AssetError as error:
        refusal = error
    else:
        for clip in asset.clips:
            assert np.all(np.isfinite(clip.skeleton.rest_translations))
            assert clip.rotations.shape == (len(clip.skeleton), 4, clip.frames)
            assert math.isfinite(clip.sample_rate_hz)
        return asset
    assert refusal.path == str(file)
    assert refusal.what
    assert refusal.mend
    assert "report this" not in refusal.mend, "the reader itself failed"
    return None


@pytest.mark.parametrize("ending", ["usda", "usdc", "usdz"])
def test_cut_off_anywhere(tmp_path: Path, good: dict[str, bytes], ending: str) -> None:
    data = good[ending]
    for number, share in enumerate(np.linspace(0.0, 1.0, 25)[:-1]):
        file = tmp_path / f"{number}.{ending}"
        file.write_bytes(data[: max(int(len(data) * share), 1)])
        assert outcome(file) is None


@QUICK
@given(st.data())
def test_flipped_bits(tmp_path: Path, good: dict[str, bytes], data: st.DataObject) -> None:
    ending = data.draw(st.sampled_from(["usda", "usdc", "usdc", "usdz"]))
    spoilt = bytearray(good[ending])
    for place in data.draw(st.lists(st.integers(0, len(spoilt) * 8 - 1), min_size=1, max_size=4)):
        spoilt[place // 8] ^= 1 << place % 8
    file = tmp_path / f"flipped.{ending}"
    file.write_bytes(spoilt)
    outcome(file)


@QUICK
@given(st.data())
def test_absurd_numbers_in_the_binary(
    tmp_path: Path, good: dict[str, bytes], data: st.DataObject
) -> None:
    spoilt = bytearray(good["usdc"])
    value = data.draw(st.sampled_from([0, 1, 1 << 20, (1 << 31) - 1, 1 << 40, (1 << 64) - 1]))
    at = data.draw(st.integers(8, len(spoilt) - 8))
    struct.pack_into("<Q", spoilt, at, value)
    file = tmp_path / "numbers.usdc"
    file.write_bytes(spoilt)
    outcome(file)


WORDS = ["nan", "inf", "-1", "1e308", "0", "1e18", "None", "[]", "{", ")", '"', "@../x.usda@"]


@QUICK
@given(st.data())
def test_absurd_words_in_the_text(
    tmp_path: Path, good: dict[str, bytes], data: st.DataObject
) -> None:
    words = good["usda"].decode().replace("(", " ( ").replace(")", " ) ").split(" ")
    for _ in range(data.draw(st.integers(1, 3))):
        words[data.draw(st.integers(5, len(words) - 1))] = data.draw(st.sampled_from(WORDS))
    file = tmp_path / "words.usda"
    file.write_text(" ".join(words))
    outcome(file)


FLOATS = st.floats(-3.0, 3.0, width=32)
NAMES = st.sampled_from(["a", "b", "a/b", "a/b/c", "a/c", "b/c", "a/b/c/d", "d", "a/x/y", "/a/z"])
ODD = st.sampled_from([math.nan, math.inf, 0.0, 1e30, -1e-30])


@st.composite
def scenes(draw: st.DrawFn) -> UsdMaker:
    """Skeletons and animations that fit, nearly fit and do not fit one another."""
    joints = draw(st.lists(NAMES, min_size=1, max_size=6, unique=True))
    if draw(st.integers(0, 3)):
        joints.sort()
    if draw(st.integers(0, 9)) == 7:
        joints.append(joints[0])
    moved = draw(st.lists(st.sampled_from([*joints, "e"]), min_size=1, max_size=6, unique=True))
    codes = draw(st.lists(st.floats(-5, 20, width=32), min_size=1, max_size=5, unique=True))
    count = len(moved) + (draw(st.integers(0, 19)) == 7)
    rng = np.random.default_rng(draw(st.integers(0, 1000)))
    maker = UsdMaker()
    maker.header(metersPerUnit=draw(st.sampled_from([1.0, 0.01, 0.0])))
    if draw(st.booleans()):
        maker.header(startTimeCode=draw(FLOATS), endTimeCode=draw(st.floats(-2, 30, width=32)))
    maker.root()
    rest = [shift(*rng.normal(0, 0.5, 3)) for _ in joints]
    skeleton = maker.skeleton(joints=joints, rest=rest, bind=rest)
    if draw(st.integers(0, 9)) == 7:
        maker.stage.GetPrimAtPath("/Crew/Skel").RemoveProperty("restTransforms")
    if draw(st.integers(0, 9)) == 7:
        skeleton.GetBindTransformsAttr().Set(Vt.Matrix4dArray(1 + draw(st.integers(0, 3))))
    keys = sorted(codes)
    turned = random_quaternions(rng, len(keys), count, spread=2.0)
    shifts = rng.normal(0, 0.5, (len(keys), count, 3))
    if draw(st.integers(0, 9)) == 7:
        shifts.flat[draw(st.integers(0, shifts.size - 1))] = draw(ODD)
    if draw(st.integers(0, 9)) == 7:
        turned[0, 0] = draw(ODD)
    maker.animation(
        joints=moved,
        codes=keys,
        rotations=turned,
        translations=shifts,
        scales=[[[1, 1, 1]] * count],
    )
    return maker


@settings(QUICK, max_examples=150)
@given(scenes())
def test_whatever_is_read_is_what_usdskel_plays(tmp_path: Path, maker: UsdMaker) -> None:
    file = maker.save(tmp_path / "scene.usda")
    try:
        asset = read_usd(file, OPTIONS)
    except AssetError:
        return
    for clip in asset.clips:
        stage = Usd.Stage.Open(str(file))
        try:
            query = skeleton_query(stage, "/Crew/Skel")
        except AssertionError:
            continue  # UsdSkel refuses the order of the joints
        if not query.ComputeJointSkelTransforms(0.0) or not np.all(np.isfinite(clip.rotations)):
            continue  # no rest pose, or numbers that intake refuses
        if np.all(np.isfinite(clip.translations)):
            assert furthest_mm(file, clip) < 0.1


class TestCounts:
    def test_five_thousand_joints(self, tmp_path: Path) -> None:
        joints = [f"j{i}" if i % 50 == 0 else f"j{i - i % 50}/j{i}" for i in range(5000)]
        maker = UsdMaker()
        maker.root()
        maker.skeleton(joints=joints, rest=[shift(0, 1, 0)] * 5000, bind=[np.eye(4)] * 5000)
        maker.animation(
            joints=joints[:50],
            codes=range(3),
            rotations=random_quaternions(np.random.default_rng(0), 3, 50),
            translations=[[[0, 1, 0]] * 50],
        )
        file = maker.save(tmp_path / "many.usdc")
        assert len(read_usd(file, OPTIONS).clips[0].skeleton) == 5000
        with pytest.raises(AssetError, match="5000 joints, more than the 4999"):
            read_usd(file, ReadOptions(max_joints=4999))

    def test_a_chain_of_five_hundred_joints(self, tmp_path: Path) -> None:
        joints = ["/".join(f"j{k}" for k in range(i + 1)) for i in range(500)]
        maker = UsdMaker()
        maker.root()
        maker.skeleton(joints=joints, rest=[shift(0, 1, 0)] * 500, bind=[np.eye(4)] * 500)
        maker.animation(
            joints=joints[:2],
            codes=range(3),
            rotations=random_quaternions(np.random.default_rng(0), 3, 2),
            translations=[[[0, 1, 0]] * 2],
        )
        file = maker.save(tmp_path / "deep.usdc")
        assert furthest_mm(file, read_usd(file, OPTIONS).clips[0]) < 0.1

    def test_few_lines_that_ask_for_much(self, tmp_path: Path) -> None:
        joints = [f"j{i}" for i in range(4000)]
        maker = UsdMaker()
        maker.root()
        maker.skeleton(joints=joints, rest=[np.eye(4)] * 4000, bind=[np.eye(4)] * 4000)
        maker.animation(
            joints=joints[:1],
            codes=[0, 400_000],
            rotations=[[[1, 0, 0, 0]], [[0, 1, 0, 0]]],
            translations=[[[0, 0, 0]]],
        )
        with pytest.raises(AssetError, match="MB"):
            read_usd(maker.save(tmp_path / "much.usdc"), OPTIONS)

    def test_instances_of_instances(self, tmp_path: Path) -> None:
        lines = ["#usda 1.0"]
        for level in range(24):
            copies = "\n".join(
                f'def "{name}" ( instanceable = true\n references = </l{level + 1}> ) {{\n}}'
                for name in ("a", "b")
            )
            lines.append(f'def Xform "l{level}" {{\n{copies}\n}}')
        file = tmp_path / "laughs.usda"
        file.write_text("\n".join([*lines, 'def Xform "l24" {\n}\n']))
        assert read_usd(file, OPTIONS).clips == (), "without anything skeletal none is looked at"
        file.write_text("\n".join([*lines, 'def Xform "l24" {\n def SkelRoot "a" {\n }\n}\n']))
        with pytest.raises(AssetError, match="prims"):
            read_usd(file, OPTIONS)

    def test_what_takes_too_long_costs_the_child_and_not_the_gate(self, tmp_path: Path) -> None:
        # Each reference leads to the next; composing them takes the cube of their number.
        lines = ["#usda 1.0"]
        lines += [f'def "a{i}" ( references = </a{i + 1}> ) {{\n}}' for i in range(3000)]
        file = tmp_path / "chain.usda"
        file.write_text("\n".join([*lines, 'def "a3000" {\n}\n']))
        with pytest.raises(AssetError) as caught:
            read(file, ReadOptions(max_seconds=2.0))
        assert caught.value.path == str(file)
        assert outcome(crew(np.random.default_rng(0)).save(tmp_path / "next.usda")) is not None

    def test_deep_nesting(self, tmp_path: Path) -> None:
        file = tmp_path / "nested.usda"
        file.write_text("#usda 1.0\n" + 'def "a" {\n' * 2000 + "}\n" * 2000)
        assert read_usd(file, OPTIONS).clips == ()
        text = f'#usda 1.0\ndef "a" {{\n double2 x = {"(" * 40_000}{")" * 40_000}\n}}\n'
        file.write_text(text)
        assert outcome(file) is None


def test_a_file_that_vanishes_or_is_none(tmp_path: Path) -> None:
    with pytest.raises(AssetError, match="cannot be opened"):
        read_usd(tmp_path / "gone.usda", OPTIONS)
    (tmp_path / "folder.usda").mkdir()
    with pytest.raises(AssetError, match="folder"):
        read_usd(tmp_path / "folder.usda", OPTIONS)


def test_nothing_is_printed(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    maker = crew(np.random.default_rng(0))
    maker.stage.GetPrimAtPath("/Crew/Skel").GetAttribute("joints").Set(["a b", "", "c"])
    maker.stage.GetPrimAtPath("/Crew/Anim").GetAttribute("joints").Set(["a b", "", "c"])
    for name in ("restTransforms", "bindTransforms"):
        maker.stage.GetPrimAtPath("/Crew/Skel").GetAttribute(name).Set(Vt.Matrix4dArray(3))
    file = maker.save(tmp_path / "odd.usda")
    capfd.readouterr()
    with pytest.raises(AssetError):
        read_usd(file, OPTIONS)
    captured = capfd.readouterr()
    assert captured.out == captured.err == ""
