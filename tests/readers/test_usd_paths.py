"""What a USD file may open: nothing outside of its folder, nothing that is no USD layer.

Rules of packages: USDZ file format specification (no compression, no encryption, first entry a
USD layer).
"""

from __future__ import annotations

import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pxr", reason="usd-core is not installed")

from pxr import Sdf, Usd

from kinelint.errors import AssetError
from kinelint.readers import read
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd import read_usd
from kinelint.readers.usd_layers import Layers
from kinelint.readers.usd_sniff import CARRIES, sniff
from kinelint.readers.usd_words import plain
from readers.usd_maker import crew

OPTIONS = ReadOptions()
SECRET = '#usda 1.0\n(\n    defaultPrim = "Crew"\n)\ndef SkelRoot "Crew" {\n}\n'


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """The asset's folder; a layer lies outside of it."""
    tmp_path.joinpath("secret.usda").write_text(SECRET)
    home = tmp_path / "home"
    home.mkdir()
    home.joinpath("mate.usda").write_text(SECRET)
    return home


def shot(home: Path, named: str, arc: str = "references") -> Path:
    file = home / "shot.usda"
    file.write_text(f'#usda 1.0\ndef "Crew" ( {arc} = @{named}@ ) {{\n}}\n')
    return file


def refused(file: Path) -> AssetError:
    with pytest.raises(AssetError) as caught:
        read_usd(file, OPTIONS)
    assert caught.value.path == str(file)
    assert caught.value.mend
    return caught.value


def in_use(outside: Path) -> bool:
    """Whether usd-core holds a layer of that file."""
    return Sdf.Layer.Find(str(outside)) is not None


@pytest.mark.parametrize("arc", ["references", "payload"])
@pytest.mark.parametrize(
    "named",
    [
        "../secret.usda",
        "./../secret.usda",
        "sub/../../secret.usda",
        "{absolute}",
        "//host/share/secret.usda",
        "file://{absolute}",
        "https://example.org/secret.usda",
        "C:/secret.usda",
        "..\\\\secret.usda",
        "link.usda",
        "linked/secret.usda",
        "`${WHERE}`",
        "mate.usda:SDF_FORMAT_ARGS:a=b",
        "secret.txt",
        "pack.usdz[secret.usda]",
    ],
)
def test_what_lies_outside_is_never_opened(home: Path, named: str, arc: str) -> None:
    outside = home.parent / "secret.usda"
    home.joinpath("link.usda").symlink_to(outside)
    home.joinpath("linked").symlink_to(home.parent)
    home.joinpath("sub").mkdir()
    refused(shot(home, named.replace("{absolute}", str(outside)), arc))
    assert not in_use(outside)


def test_sublayers_are_held_to_the_same(home: Path) -> None:
    file = home / "shot.usda"
    file.write_text("#usda 1.0\n(\n    subLayers = [ @../secret.usda@ ]\n)\n")
    refused(file)
    assert not in_use(home.parent / "secret.usda")


def test_layers_of_layers_are_held_to_the_same(home: Path) -> None:
    home.joinpath("mate.usda").write_text(
        '#usda 1.0\n(\n    defaultPrim = "Crew"\n    subLayers = [ @../secret.usda@ ]\n)\n'
    )
    assert refused(shot(home, "mate.usda")).place == "mate.usda"


def test_arcs_in_variants_that_are_not_selected_are_held_to_the_same(home: Path) -> None:
    file = home / "shot.usda"
    file.write_text(
        '#usda 1.0\ndef "Crew" ( append variantSets = "v" ) {\n variantSet "v" = {\n'
        '  "a" ( references = @../secret.usda@ ) {\n  }\n }\n}\n'
    )
    refused(file)


@pytest.mark.parametrize(
    "clips",
    [
        "asset[] assetPaths = [@../secret.usda@]",
        "asset manifestAssetPath = @../secret.usda@",
        "asset[] assetPaths = [@./lost.usda@]",
        'string templateAssetPath = "../secret.##.usda"\n double templateStartTime = 1\n'
        " double templateEndTime = 3\n double templateStride = 1",
        'string templateAssetPath = "./mate.##.usda"\n double templateStartTime = 1\n'
        " double templateEndTime = 1e9\n double templateStride = 1e-3",
        'string templateAssetPath = "./mate.usda"',
    ],
)
def test_value_clips_are_held_to_the_same(home: Path, clips: str) -> None:
    file = home / "shot.usda"
    file.write_text(
        '#usda 1.0\ndef "Crew" ( clips = {\n dictionary default = {\n'
        f' {clips}\n string primPath = "/Crew"\n }}\n}} ) {{\n}}\n'
    )
    refused(file)
    assert not in_use(home.parent / "secret.usda")


def test_a_missing_layer_is_not_looked_for_elsewhere(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(home.parent)
    assert "secret.usda" in refused(shot(home, "secret.usda")).what
    assert not in_use(home.parent / "secret.usda")


def test_a_file_may_be_named_from_above_within_the_folder(home: Path) -> None:
    home.joinpath("sub").mkdir()
    home.joinpath("sub", "a.usda").write_text(
        SECRET.replace('SkelRoot "Crew"', '"Crew" ( references = @../mate.usda@ )')
    )
    assert read_usd(shot(home, "sub/a.usda"), OPTIONS).clips == ()


def test_a_link_within_the_folder_is_followed(home: Path) -> None:
    home.joinpath("link.usda").symlink_to(home / "mate.usda")
    assert read_usd(shot(home, "link.usda"), OPTIONS).clips == ()


@pytest.mark.parametrize("arc", ["references", "payload"])
def test_circles_are_refused(home: Path, arc: str) -> None:
    file = shot(home, "mate.usda", arc)
    home.joinpath("mate.usda").write_text(
        SECRET.replace('SkelRoot "Crew"', f'"Crew" ( {arc} = @shot.usda@</Crew> )')
    )
    assert "cannot be composed" in refused(file).what


def test_sublayer_circles_are_refused(home: Path) -> None:
    file = home / "shot.usda"
    for one, other in (("shot", "mate"), ("mate", "shot")):
        home.joinpath(f"{one}.usda").write_text(
            f"#usda 1.0\n(\n    subLayers = [ @./{other}.usda@ ]\n)\n"
        )
    refused(file)


def test_references_to_prims_that_are_not_there_are_refused(home: Path) -> None:
    file = home / "shot.usda"
    file.write_text('#usda 1.0\ndef "Crew" ( references = @mate.usda@</Lost> ) {\n}\n')
    assert "/Lost" in refused(file).what


def test_a_layer_that_no_prim_names_is_refused(home: Path) -> None:
    # As if a damaged file had hidden the path from the look at its prims.
    layers = Layers(shot(home, "mate.usda"), OPTIONS)
    layers.open()
    layers.root.subLayerPaths.append("../secret.usda")
    with pytest.raises(AssetError, match="none of its prims"):
        layers.check_used(Usd.Stage.Open(layers.root))


def test_a_folder_or_a_pipe_in_a_layers_place(home: Path) -> None:
    home.joinpath("dir.usda").mkdir()
    refused(shot(home, "dir.usda"))


def test_all_layers_together_are_bounded(home: Path) -> None:
    home.joinpath("mate.usda").write_text(SECRET + "#" * 5000)
    with pytest.raises(AssetError, match="layers hold more"):
        read_usd(shot(home, "mate.usda"), ReadOptions(max_bytes=4000))


@pytest.mark.parametrize("name", ["take[1].usda", "a:b.usda", "take.txt", "take"])
def test_names_that_usd_would_misread_are_refused(home: Path, name: str) -> None:
    file = home / name
    file.write_text(SECRET)
    refused(file)


def test_names_may_hold_blanks_and_any_letters(home: Path) -> None:
    file = home / "Fähre – Nacht (2) #3 @ 50% ユ.usda"
    file.write_text(SECRET)
    assert read_usd(file, OPTIONS).clips == ()


class TestPackages:
    def test_one_as_it_should_be(self, home: Path) -> None:
        file = crew(np.random.default_rng(0)).save(home / "a.usdz")
        assert sniff(file.read_bytes()[:4096], file)
        assert len(read_usd(file, OPTIONS).clips) == 1

    def test_compressed_entries(self, home: Path) -> None:
        file = home / "bomb.usdz"
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as package:
            package.writestr("a.usda", SECRET + "#" * 50_000_000)
        assert file.stat().st_size < 100_000
        assert "compressed" in refused(file).what

    def test_entries_that_share_their_bytes(self, home: Path) -> None:
        file = home / "bomb.usdz"
        with zipfile.ZipFile(file, "w") as package:
            package.writestr("a.usda", SECRET + "#" * 5000)
            for i in range(20):
                package.writestr(f"{i}.usda", b"")
                package.filelist[-1].file_size = package.filelist[-1].compress_size = 5000
                package.filelist[-1].header_offset = 0
        assert "more bytes" in refused(file).what

    @pytest.mark.parametrize("name", ["../a.usda", "/a.usda", "b/../../a.usda", "a\\..\\b.usda"])
    def test_names_that_lead_out(self, home: Path, name: str) -> None:
        file = home / "out.usdz"
        with zipfile.ZipFile(file, "w") as package:
            package.writestr(zipfile.ZipInfo("a.usda"), SECRET)
            package.writestr(zipfile.ZipInfo(name), SECRET)
        refused(file)
        assert not home.joinpath("a.usda").exists()

    @pytest.mark.parametrize("named", ["../mate.usda", "mate.usda", "./mate.usda", "/mate.usda"])
    def test_layers_that_lead_out(self, home: Path, named: str) -> None:
        file = home / "out.usdz"
        with zipfile.ZipFile(file, "w") as package:
            package.writestr("a.usda", f'#usda 1.0\ndef "Crew" ( references = @{named}@ ) {{\n}}\n')
        refused(file)
        assert not in_use(home / "mate.usda")

    def test_no_layer_first(self, home: Path) -> None:
        file = home / "odd.usdz"
        with zipfile.ZipFile(file, "w") as package:
            package.writestr("a.png", b"")
            package.writestr("a.usda", SECRET)
        assert "no USD layer" in refused(file).what
        assert not sniff(file.read_bytes()[:4096], file)

    def test_encrypted_and_doubled_entries(self, home: Path) -> None:
        file = home / "odd.usdz"
        with zipfile.ZipFile(file, "w") as package:
            package.writestr("a.usda", SECRET)
        data = bytearray(file.read_bytes())
        at = data.rindex(b"PK\x01\x02")
        struct.pack_into("<H", data, at + 8, 1)
        file.write_bytes(data)
        assert "encrypted" in refused(file).what
        with zipfile.ZipFile(file, "w") as package:
            package.writestr("a.usda", SECRET)
            with pytest.warns(UserWarning, match="Duplicate"):
                package.writestr("a.usda", SECRET)
        assert "twice" in refused(file).what

    @pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.9, 0.999])
    def test_cut_off(self, home: Path, share: float) -> None:
        file = crew(np.random.default_rng(0)).save(home / "a.usdz")
        data = file.read_bytes()
        file.write_bytes(data[: max(int(len(data) * share), 4)])
        refused(file)


def test_sniffing(tmp_path: Path) -> None:
    assert sniff(b"#usda 1.0\n", tmp_path)
    assert sniff(b"PXR-USDC\0\x08", tmp_path)
    assert not sniff(b"", tmp_path)
    assert not sniff(b"PK\x03\x04", tmp_path)
    assert not sniff(b'{"asset"', tmp_path)


@pytest.mark.parametrize(
    ("name", "body", "said"),
    [
        (
            "a.usda",
            'def "A" ( references = </B> ) {}\ndef "B" ( references = </A> ) {}\n',
            "Cycle detected: @a.usda@</A> references: @a.usda@</B> which CANNOT reference",
        ),
        (
            "a.usda",
            'def "A" ( references = @./b.usda@</None> ) {}\n',
            "Unresolved reference prim path @b.usda@</None> introduced by @a.usda@</A>",
        ),
        (
            "a.usda",
            'def "A" ( references = @./none.usda@ ) {}\n',
            "Could not open asset @none.usda@ for reference introduced by @a.usda@</A>",
        ),
    ],
)
def test_errors_of_composition_are_alike_wherever_the_asset_lies(
    name: str, body: str, said: str, tmp_path: Path
) -> None:
    seen = set()
    for folder in ("deck", "it's a @ 'hold'"):
        asset = tmp_path / folder / name
        asset.parent.mkdir()
        asset.with_name("b.usda").write_text("#usda 1.0\n")
        asset.write_text("#usda 1.0\n" + body)
        with pytest.raises(AssetError) as caught:
            read_usd(asset, ReadOptions())
        seen.add(caught.value.what)
    assert len(seen) == 1
    assert said in seen.pop()


def test_words_of_usd_core_lose_folders_and_addresses(tmp_path: Path) -> None:
    for text, said in {
        f"Failed to open asset '{tmp_path}/hold/x.usdc'": "Failed to open asset 'hold/x.usdc'",
        "Failed to open '/mnt/crew/x.usdc' at 0x55ba76973780": "Failed to open 'x.usdc' at …",
        'in "C:\\crew\\x.usdc" at </Crew/Skel.joints>': 'in "x.usdc" at </Crew/Skel.joints>',
        "Layer anon:0x55ba76973780:a.usda is broken.": "Layer a.usda is broken",
    }.items():
        assert plain(text, str(tmp_path / "a.usda")) == said


def test_usd_under_another_ending_is_refused_by_name(tmp_path: Path) -> None:
    whole = crew(np.random.default_rng(0)).save(tmp_path / "crew.usdc")
    lies = whole.rename(tmp_path / "lies.fbx")
    with pytest.raises(AssetError, match=r"its ending '\.fbx' is none of USD's") as caught:
        read(lies)
    assert ".usdc" in caught.value.mend
    assert "refused by its ending" in CARRIES
