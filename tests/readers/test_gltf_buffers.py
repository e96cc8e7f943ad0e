"""Where the bytes of a glTF file may come from, and how accessors lay them out."""

import json
import os
import struct

import numpy as np
import pytest

from kinelint.errors import AssetError
from kinelint.kinematics import rotations
from kinelint.readers.gltf import READER
from kinelint.readers.options import ReadOptions
from readers.gltf_maker import GltfMaker

TIMES = np.arange(4) / 30
UP = np.array([[0.0, y, 0.0] for y in (1, 2, 3, 4)])


def bobbing(values=UP) -> GltfMaker:
    maker = GltfMaker()
    maker.node("hips")
    maker.animation("bob", (0, "translation", TIMES, values))
    return maker


def heights(path):
    return READER.read(path, ReadOptions()).clips[0].translations[0, 1].tolist()


def refusal(path):
    with pytest.raises(AssetError) as caught:
        READER.read(path, ReadOptions())
    return caught.value


def test_data_uris_files_beside_and_binary_chunks_give_the_same(tmp_path):
    (tmp_path / "crew").mkdir()
    expected = [1.0, 2.0, 3.0, 4.0]
    assert heights(bobbing().glb(tmp_path / "a.glb")) == expected
    assert heights(bobbing().gltf(tmp_path / "b.gltf")) == expected
    assert heights(bobbing().gltf(tmp_path / "c.gltf", beside="c.bin")) == expected
    uri = "crew/%C3%BCber%20bord.bin"  # percent-decoded once
    assert heights(bobbing().gltf(tmp_path / "d.gltf", uri, "crew/über bord.bin")) == expected


def test_data_uris_may_be_percent_encoded(tmp_path):
    maker = bobbing()
    text = "".join(f"%{byte:02x}" for byte in maker.data)
    uri = f"data:application/gltf-buffer,{text}"
    assert heights(maker.gltf(tmp_path / "a.gltf", uri)) == [1.0, 2.0, 3.0, 4.0]


@pytest.mark.parametrize(
    "uri",
    [
        "../a.bin",
        "crew/../../a.bin",
        "crew/../a.bin",
        "%2e%2e/a.bin",
        "%2E%2E%2Fa.bin",
        "..%5Ca.bin",
        "..\\a.bin",
        "/etc/hosts",
        "//server/a.bin",
        "%2Fetc/hosts",
        "C:/a.bin",
        "C%3A/a.bin",
        "file:///etc/hosts",
        "http://example.org/a.bin",
        "HTTPS://example.org/a.bin",
        "a.bin%00.txt",
        "",
        "crew",
        "absent.bin",
    ],
)
def test_references_out_of_the_assets_folder_are_refused(tmp_path, uri):
    tmp_path.joinpath("a.bin").write_bytes(bytes(bobbing().data))
    folder = tmp_path / "ship"
    (folder / "crew").mkdir(parents=True)
    (folder / "a.bin").write_bytes(bytes(bobbing().data))
    error = refusal(bobbing().gltf(folder / "a.gltf", uri))
    assert error.place == "/buffers/0/uri"
    assert error.mend


@pytest.mark.skipif(os.name == "nt", reason="links need rights on Windows")
def test_links_are_followed_only_inside_the_folder(tmp_path):
    folder = tmp_path / "ship"
    folder.mkdir()
    outside = tmp_path / "outside.bin"
    outside.write_bytes(bytes(bobbing().data))
    (folder / "link.bin").symlink_to(outside)
    (folder / "real.bin").write_bytes(bytes(bobbing().data))
    (folder / "inner.bin").symlink_to(folder / "real.bin")
    (folder / "loop.bin").symlink_to(folder / "loop.bin")
    path = folder / "a.gltf"
    assert "a link out of" in refusal(bobbing().gltf(path, "link.bin")).what
    assert "missing" in refusal(bobbing().gltf(path, "loop.bin")).what
    assert heights(bobbing().gltf(path, "inner.bin")) == [1.0, 2.0, 3.0, 4.0]


@pytest.mark.parametrize(
    "uri", ["data:,", "data:x;base64,&&&&", "data:nothing", "data:;base64,AAA"]
)
def test_broken_data_uris_are_refused(tmp_path, uri):
    assert refusal(bobbing().gltf(tmp_path / "a.gltf", uri)).place.startswith("/buffers/0")


def test_a_buffer_shorter_than_it_says_is_refused(tmp_path):
    path = bobbing().gltf(tmp_path / "a.gltf", beside="a.bin")
    whole = (tmp_path / "a.bin").read_bytes()
    (tmp_path / "a.bin").write_bytes(whole[:-1])
    assert "cut off" in refusal(path).what


def test_buffers_together_keep_to_the_limit_of_bytes(tmp_path):
    maker = bobbing()
    maker.data += bytes(100_000)
    path = maker.gltf(tmp_path / "a.gltf", beside="a.bin")
    with pytest.raises(AssetError, match="add up to more"):
        READER.read(path, ReadOptions(max_bytes=50_000))


def test_unknown_chunks_and_bytes_behind_the_container_are_passed_over(tmp_path):
    # glTF 2.0, section 4.4: "Client implementations MUST ignore chunks with unknown types".
    path = bobbing().glb(tmp_path / "a.glb", extra=struct.pack("<II4s", 4, 0x54534554, b"TEST"))
    path.write_bytes(path.read_bytes() + b"behind")
    assert heights(path) == [1.0, 2.0, 3.0, 4.0]


def test_content_not_ending_decides_between_text_and_binary(tmp_path):
    assert heights(bobbing().glb(tmp_path / "binary.gltf")) == [1.0, 2.0, 3.0, 4.0]
    path = bobbing().gltf(tmp_path / "text.glb")
    assert heights(path) == [1.0, 2.0, 3.0, 4.0]
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert heights(path) == [1.0, 2.0, 3.0, 4.0]
    assert READER.sniff(path.read_bytes()[:4096], path)
    assert not READER.sniff(b"HIERARCHY\nROOT hips", tmp_path / "a.bvh")


@pytest.mark.parametrize(("stride", "offset"), [(12, 0), (16, 0), (20, 4), (252, 8)])
def test_strides_and_offsets_are_kept(tmp_path, stride, offset):
    maker = GltfMaker()
    maker.node("hips")
    maker.animation("bob", (0, "translation", TIMES, maker.strided(UP, stride, offset)))
    assert heights(maker.glb(tmp_path / "a.glb")) == [1.0, 2.0, 3.0, 4.0]


def test_the_last_element_of_a_strided_view_need_not_fill_its_stride(tmp_path):
    # glTF 2.0, section 3.6.2.4: stride times (count - 1) plus one element must fit.
    maker = GltfMaker()
    maker.node("hips")
    values = maker.strided(UP, 16)
    maker.tree["bufferViews"][-1]["byteLength"] -= 4
    maker.animation("bob", (0, "translation", TIMES, values))
    assert heights(maker.glb(tmp_path / "a.glb")) == [1.0, 2.0, 3.0, 4.0]


def test_sparse_accessors_replace_rows_of_their_base_or_of_zeros(tmp_path):
    for base, expected in ((UP, [1.0, 7.0, 3.0, 8.0]), (None, [0.0, 7.0, 0.0, 8.0])):
        maker = GltfMaker()
        maker.node("hips")
        values = maker.sparse(base, 4, [1, 3], [[0, 7, 0], [0, 8, 0]])
        maker.animation("bob", (0, "translation", TIMES, values))
        assert heights(maker.glb(tmp_path / "a.glb")) == expected


def test_an_accessor_without_a_view_is_all_zeros(tmp_path):
    maker = GltfMaker()
    maker.node("hips", translation=[0, 1, 0])
    values = maker.accessor(UP)
    del maker.tree["accessors"][values]["bufferView"]
    maker.animation("bob", (0, "translation", TIMES, values))
    assert heights(maker.glb(tmp_path / "a.glb")) == [0.0] * 4


def test_big_files_of_text_name_no_buffer_twice(tmp_path):
    # Two animations share accessors: both clips are the same motion.
    maker = bobbing()
    first = maker.tree["animations"][0]
    maker.tree["animations"].append(json.loads(json.dumps(first)) | {"name": "again"})
    clips = READER.read(maker.gltf(tmp_path / "a.gltf"), ReadOptions()).clips
    assert rotations.angle_between(clips[0].rotations, clips[1].rotations).max() == 0.0
    np.testing.assert_array_equal(clips[0].translations, clips[1].translations)
