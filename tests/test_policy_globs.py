"""Patterns over asset paths and clip names."""

from __future__ import annotations

import pytest

from kinelint.globs import matches_asset, matches_clip, split


@pytest.mark.parametrize(
    ("pattern", "path", "fits"),
    [
        ("raw/**", "raw/a.bvh", True),
        ("raw/**", "raw/b/c/a.bvh", True),
        ("raw/", "raw/b/a.bvh", True),
        ("raw/**", "crew/raw/a.bvh", False),
        ("**/raw/**", "crew/raw/a.bvh", True),
        ("**/raw/**", "raw/a.bvh", True),
        ("*.bvh", "raw/b/a.bvh", True),
        ("raw/*.bvh", "raw/b/a.bvh", False),
        ("raw/*.bvh", "raw/a.bvh", True),
        ("./raw/*.bvh", "raw/a.bvh", True),
        ("**", "a.bvh", True),
        ("raw/**/*.glb", "raw/a.glb", True),
        ("raw/**/*.glb", "raw/b/c/a.glb", True),
        ("a?.bvh", "ab.bvh", True),
        ("[ab]1.bvh", "b1.bvh", True),
        ("[!ab]1.bvh", "b1.bvh", False),
        ("a.bvh", "axbvh", False),
        ("A.bvh", "a.bvh", False),
        ("f\u00e9e.bvh", "fe\u0301e.bvh", True),
        ("a[.bvh", "a[.bvh", True),
    ],
)
def test_assets(pattern, path, fits):
    assert matches_asset(pattern, path) is fits


@pytest.mark.parametrize(
    ("pattern", "clip", "fits"),
    [
        ("crew/*.glb#Walk*", "WalkFast", True),
        ("crew/*.glb#Walk*", "Run", False),
        ("crew/*.glb", "Run", True),
        ("#Walk*", "Walk/Fast#2", True),
        ("other/*.glb#Walk*", "Walk", False),
    ],
)
def test_clips(pattern, clip, fits):
    assert matches_clip(pattern, "crew/deckhand.glb", clip) is fits


def test_a_hash_in_brackets_belongs_to_the_file():
    assert split("take[#]1.bvh#a") == ("take[#]1.bvh", "a")
    assert matches_clip("take[#]1.bvh", "take#1.bvh", "any")
