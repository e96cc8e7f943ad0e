"""Trees with links, folders that cannot be listed and things that are no files: the run goes on."""

from __future__ import annotations

import os
import sys

import pytest

from deep_tree import deep_tree
from ferry_tree import bvh, write
from kinelint.cli import main
from kinelint.discover import discover

posix = pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
BVH = frozenset({".bvh"})


def shown(tree):
    return [one.shown for one in tree.files]


def gate(capsys, *words):
    status = main(["gate", *map(str, words), "--colour", "never", "--workers", "0"])
    said = capsys.readouterr()
    assert "Traceback" not in said.out + said.err
    return status, said.out + said.err


@posix
def test_folders_that_link_in_a_circle_are_walked_once(tmp_path):
    write(tmp_path, crew__haul=bvh(), crew__deck__walk=bvh())
    (tmp_path / "crew" / "deck" / "up").symlink_to(tmp_path)
    (tmp_path / "crew" / "again").symlink_to("deck", target_is_directory=True)
    tree = discover([tmp_path], tmp_path, BVH)
    # By the first of its names, in the order of names.
    assert shown(tree) == ["crew/again/walk.bvh", "crew/haul.bvh"]
    assert tree.troubles == ()


@posix
def test_a_folder_and_a_link_to_it_count_as_the_name_that_comes_first(tmp_path):
    write(tmp_path, deck__walk=bvh())
    (tmp_path / "old").symlink_to("deck", target_is_directory=True)
    assert shown(discover([tmp_path], tmp_path, BVH)) == ["deck/walk.bvh"]


@posix
def test_links_that_lead_nowhere_or_to_themselves_are_told_at_their_name(tmp_path, capsys):
    write(tmp_path, walk=bvh())
    (tmp_path / "self.bvh").symlink_to("self.bvh")
    (tmp_path / "one.bvh").symlink_to("two.bvh")
    (tmp_path / "two.bvh").symlink_to("one.bvh")
    (tmp_path / "gone.bvh").symlink_to("absent.bvh")
    (tmp_path / "circle").symlink_to("circle")
    status, said = gate(capsys, tmp_path)
    assert status == 2
    for name in ("self.bvh", "one.bvh", "two.bvh", "gone.bvh"):
        assert name in said
    assert "1 clip" in said


@posix
def test_a_link_to_itself_named_on_the_command_line(tmp_path, capsys):
    (tmp_path / "self.bvh").symlink_to("self.bvh")
    status, said = gate(capsys, tmp_path / "self.bvh")
    assert status == 2
    assert "self.bvh" in said


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no named pipes there")
def test_a_pipe_named_like_a_clip_does_not_hold_the_run_up(tmp_path, capsys):
    write(tmp_path, walk=bvh())
    os.mkfifo(tmp_path / "pipe.bvh")
    status, said = gate(capsys, tmp_path)
    assert status == 2
    assert "no ordinary file" in said


def test_a_folder_that_cannot_be_listed_is_told_and_the_others_are_judged(
    tmp_path, capsys, monkeypatch
):
    write(tmp_path, locked__haul=bvh(), deck__walk=bvh())
    plain = os.scandir

    def refusing(folder):
        if str(folder).endswith("locked"):
            raise PermissionError(13, "Permission denied")
        return plain(folder)

    monkeypatch.setattr(os, "scandir", refusing)
    status, said = gate(capsys, tmp_path)
    assert status == 2
    assert "locked" in said
    assert "the folder cannot be listed: Permission denied" in said
    assert "1 clip" in said


def test_a_listing_that_breaks_off_is_closed(tmp_path, monkeypatch):
    plain, listings = os.scandir, []

    class Breaking:
        """A listing whose folder goes away while it is read."""

        def __init__(self, folder):
            self.inner = plain(folder)
            self.closed = False
            listings.append(self)

        def __enter__(self):
            return self

        def __exit__(self, *_):
            self.inner.close()
            self.closed = True

        def __iter__(self):
            yield next(self.inner)
            raise OSError(5, "Input/output error")

    write(tmp_path, walk=bvh(), haul=bvh())
    monkeypatch.setattr(os, "scandir", Breaking)
    tree = discover([tmp_path], tmp_path, BVH)
    assert "Input/output error" in tree.troubles[0].text
    assert [one.closed for one in listings] == [True]


@posix
@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read all")
def test_a_folder_without_rights(tmp_path):
    write(tmp_path, locked__haul=bvh(), deck__walk=bvh())
    (tmp_path / "locked").chmod(0)
    try:
        tree = discover([tmp_path], tmp_path, BVH)
    finally:
        (tmp_path / "locked").chmod(0o700)
    assert shown(tree) == ["deck/walk.bvh"]
    assert [one.path for one in tree.troubles] == ["locked"]


@posix
def test_a_tree_deeper_than_calls_may_nest(tmp_path):
    write(tmp_path, walk=bvh())
    with deep_tree(tmp_path):
        assert "walk.bvh" in shown(discover([tmp_path], tmp_path, BVH))
