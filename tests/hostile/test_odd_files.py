"""What stands in a tree under the name of a clip: pipes, folders, links, encodings, buffers."""

from __future__ import annotations

import json
import os
import threading
from pathlib import Path

import pytest

import bvh_text
import ferry_tree
from deep_tree import deep_tree
from hostile.bounds import in_time
from hostile.gate_oracle import check_report, policy
from hostile.oracle import load_and_check, read_and_check
from hostile.seeds import GLTF_TURN, gltf_seeds
from kinelint.clip import Asset
from kinelint.engine import run
from kinelint.errors import AssetError
from kinelint.report import Report, Verdict

posix = pytest.mark.skipif(os.name != "posix", reason="needs POSIX files")


def gate(folder: Path) -> Report:
    with in_time(60.0):
        report = run([folder], policy(), workers=0)
    check_report(report)
    return report


def troubled(report: Report) -> list[str]:
    return [one.path for one in report.assets if one.troubles]


@posix
def test_a_pipe_a_device_and_a_socket_are_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.bvh")
    (tmp_path / "null.glb").symlink_to("/dev/null")
    (tmp_path / "zero.gltf").symlink_to("/dev/zero")
    for name in ("pipe.bvh", "null.glb", "zero.gltf"):
        with in_time(5.0):
            error = read_and_check(tmp_path / name)
        assert isinstance(error, AssetError)
        assert "no ordinary file" in error.what


@posix
def test_a_pipe_as_policy_or_cue_sheet_does_not_wait_for_a_writer(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    for kind in ("policy", "cues"):
        with in_time(5.0):
            assert load_and_check(tmp_path / "pipe.toml", kind) is not None


@posix
def test_the_gate_names_each_of_them_and_judges_the_rest(tmp_path: Path) -> None:
    ferry_tree.write(tmp_path, good=ferry_tree.bvh())
    os.mkfifo(tmp_path / "pipe.bvh")
    (tmp_path / "zero.bvh").symlink_to("/dev/zero")
    (tmp_path / "itself.bvh").symlink_to("itself.bvh")
    (tmp_path / "nowhere.bvh").symlink_to("gone")
    (tmp_path / "folder.bvh").mkdir()
    ferry_tree.write(tmp_path / "folder.bvh", inside=ferry_tree.bvh())
    report = gate(tmp_path)
    assert troubled(report) == ["itself.bvh", "nowhere.bvh", "pipe.bvh", "zero.bvh"]
    assert [one.path for one in report.assets if one.clips] == ["folder.bvh/inside.bvh", "good.bvh"]
    assert report.verdict is Verdict.INCOMPLETE


@posix
def test_links_that_lead_round_are_walked_once(tmp_path: Path) -> None:
    ferry_tree.write(tmp_path, crew__walk=ferry_tree.bvh())
    (tmp_path / "crew" / "again").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "itself").symlink_to("itself")
    (tmp_path / "a").symlink_to("b")
    (tmp_path / "b").symlink_to("a")
    report = gate(tmp_path)
    assert [one.path for one in report.assets] == ["crew/walk.bvh"]
    assert report.verdict is Verdict.PASS


@posix
def test_a_tree_deeper_than_calls_may_nest(tmp_path: Path) -> None:
    with deep_tree(tmp_path, deep__bvh=bvh_text.PLAIN):
        report = gate(tmp_path)
    assert len(report.assets) == 1


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may read everything")
def test_a_file_without_rights_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "secret.bvh"
    path.write_text(bvh_text.PLAIN)
    path.chmod(0)
    assert isinstance(read_and_check(path), AssetError)


def test_a_file_that_is_gone_is_refused(tmp_path: Path) -> None:
    error = read_and_check(tmp_path / "gone.bvh")
    assert isinstance(error, AssetError)
    assert "No such file" in error.what


def test_files_that_change_while_they_are_read_are_read_or_refused(tmp_path: Path) -> None:
    path, other = tmp_path / "busy.bvh", tmp_path / "other"
    texts = [bvh_text.PLAIN, "", bvh_text.PLAIN * 50, ferry_tree.bvh()]
    path.write_text(bvh_text.PLAIN)
    stop = threading.Event()

    def write() -> None:
        while not stop.is_set():
            for text in texts:
                path.write_text(text)
                other.write_text(text)
                other.replace(path)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for _ in range(200):
            read_and_check(path)
    finally:
        stop.set()
        writer.join()


@pytest.mark.parametrize(
    "encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-8-sig", "latin-1", "cp037"]
)
@pytest.mark.parametrize("name", ["a.bvh", "a.gltf"])
def test_other_encodings_are_read_or_refused(encoding: str, name: str, tmp_path: Path) -> None:
    text = bvh_text.PLAIN if name == "a.bvh" else gltf_seeds()[GLTF_TURN].decode()
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    found = read_and_check(path)
    assert isinstance(found, Asset) == (encoding in ("utf-8-sig", "latin-1"))


@pytest.mark.parametrize("at", [0, 3, 20, 60, 150, 300])
@pytest.mark.parametrize("byte", [b"\0", b"\x1b", b"\x85", b"\x1c", b"\xff", b"\xe2\x80\xae"])
def test_odd_bytes_in_text_are_read_or_refused(at: int, byte: bytes, tmp_path: Path) -> None:
    for name, data in (("a.bvh", bvh_text.PLAIN.encode()), ("a.gltf", gltf_seeds()[GLTF_TURN])):
        path = tmp_path / name
        path.write_bytes(data[:at] + byte + data[at:])
        read_and_check(path)


ESCAPES = [
    "../secret.bin", "..%2Fsecret.bin", "%2e%2e/secret.bin", "a/../../secret.bin", "..\\secret.bin",
    "..%5csecret.bin", "/etc/passwd", "%2Fetc/passwd", "//host/share", "file:///etc/passwd",
    "FILE:secret.bin", "file%3A///etc/passwd", "http://localhost/", "C:\\secret.bin", "C:/secret",
    "secret.bin%00.png", "", ".", "..", "./", "link.bin", "folder", "a" * 5000, "%", "%zz",
    "\x1b[2J",
]  # fmt: skip


@pytest.mark.parametrize("uri", ESCAPES)
def test_buffers_never_come_from_outside_the_folder(uri: str, tmp_path: Path) -> None:
    folder = tmp_path / "tree"
    (folder / "folder").mkdir(parents=True)
    (tmp_path / "secret.bin").write_bytes(bytes(1000))
    if os.name == "posix":
        (folder / "link.bin").symlink_to(tmp_path / "secret.bin")
    tree = json.loads(gltf_seeds()[GLTF_TURN])
    tree["buffers"][0]["uri"] = uri
    path = folder / "a.gltf"
    path.write_text(json.dumps(tree))
    error = read_and_check(path)
    assert isinstance(error, AssetError)
    assert error.place == "/buffers/0/uri"


@posix
def test_a_buffer_that_is_a_pipe_or_a_device_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.bin")
    tree = json.loads(gltf_seeds()[GLTF_TURN])
    tree["buffers"][0]["uri"] = "pipe.bin"
    path = tmp_path / "a.gltf"
    path.write_text(json.dumps(tree))
    with in_time(5.0):
        assert isinstance(read_and_check(path), AssetError)


JSON_ODDITIES = {
    "a key twice": ('"asset":', '"asset":{"version":"1.0"},"asset":'),
    "a giant number": ('"count":6', '"count":' + "9" * 400),
    "an infinite number": ('"count":6', '"count":1e999'),
    "a fraction": ('"count":6', '"count":6.0'),
    "a lone surrogate": ('"hips"', '"\\ud800"'),
    "a NaN": ('"count":6', '"count":NaN'),
    "a true": ('"count":6', '"count":true'),
    "a comment": ('"asset":', '/**/"asset":'),
}


@pytest.mark.parametrize("what", JSON_ODDITIES)
def test_odd_json_is_read_or_refused(what: str, tmp_path: Path) -> None:
    old, new = JSON_ODDITIES[what]
    text = json.dumps(json.loads(gltf_seeds()[GLTF_TURN]), separators=(",", ":"))
    assert old in text
    path = tmp_path / "a.gltf"
    path.write_text(text.replace(old, new, 1))
    found = read_and_check(path)
    assert isinstance(found, Asset) == (what == "a key twice")
