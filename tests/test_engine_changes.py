"""Files that change while they are judged: one clear error each, never a mixture."""

from __future__ import annotations

import os

import pytest

from ferry_tree import bvh, write
from kinelint.engine import context as engine_context
from kinelint.engine import run, steady
from kinelint.engine.steady import read_steady
from kinelint.errors import AssetError
from kinelint.policy import load_policy
from kinelint.readers import ReadOptions
from kinelint.report import Verdict
from policy_rules import HeadHeight, registered

OLD_S = 1_700_000_000


@pytest.fixture
def clip(tmp_path):
    """A file that nobody has touched for long."""
    path = write(tmp_path, haul=bvh()) / "haul.bvh"
    os.utime(path, (OLD_S, OLD_S))
    return path


def meanwhile(monkeypatch, act):
    """Lets something happen after the digest is taken and before the reader opens the file."""
    read = steady.read

    def late(path, options):
        act(path)
        return read(path, options)

    monkeypatch.setattr(steady, "read", late)


def test_a_file_that_keeps_still_is_read_and_hashed_once(clip, monkeypatch):
    digests = []
    plain = steady.sha256_of
    monkeypatch.setattr(steady, "sha256_of", lambda path: digests.append(path) or plain(path))
    asset, sha256 = read_steady(clip, ReadOptions())
    assert (asset.clips[0].frames, sha256) == (20, plain(clip))
    assert len(digests) == 1


@pytest.mark.parametrize("text", [bvh(frames=30), bvh()[:-40], "", "no motion"])
def test_a_file_written_anew_while_it_is_read(clip, monkeypatch, text):
    meanwhile(monkeypatch, lambda path: path.write_text(text))
    with pytest.raises(AssetError, match="changed while it was being read") as caught:
        read_steady(clip, ReadOptions())
    assert (caught.value.path, bool(caught.value.mend)) == (str(clip), True)


def test_a_change_that_keeps_size_and_time_of_a_young_file(clip, monkeypatch):
    before = clip.stat()

    def swap(path):
        path.write_text(bvh()[:-2] + "1\n")
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))

    os.utime(clip)
    before = clip.stat()
    meanwhile(monkeypatch, swap)
    with pytest.raises(AssetError, match="changed while"):
        read_steady(clip, ReadOptions())


def test_a_file_that_goes_away_and_one_that_is_only_touched(clip, monkeypatch):
    meanwhile(monkeypatch, os.utime)
    assert read_steady(clip, ReadOptions())[0].clips
    monkeypatch.undo()
    meanwhile(monkeypatch, lambda path: path.unlink())
    with pytest.raises(AssetError, match="changed while"):
        read_steady(clip, ReadOptions())


def test_a_file_that_changes_between_survey_and_judgement(tmp_path, monkeypatch):
    write(tmp_path, calm=bvh(), haul=bvh())
    # Every pass reads afresh, as it does in large trees.
    monkeypatch.setattr(engine_context, "CACHED_BYTES", 0)

    def rewrite(phase, done, _):
        if phase == "judge" and not done:
            write(tmp_path, haul=bvh([1.4] * 30))

    report = run([tmp_path], load_policy(None, registered(HeadHeight)), workers=0, progress=rewrite)
    troubles = report.all_troubles()
    assert [(one.kind, one.path) for one in troubles] == [("unreadable-asset", "haul.bvh")]
    assert troubles[0].text.startswith("changed while it was being read")
    assert report.verdict is Verdict.INCOMPLETE
    judged = [one.path for one in report.assets if one.clips]
    assert judged == ["calm.bvh"]
