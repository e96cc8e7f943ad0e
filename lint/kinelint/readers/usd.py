"""OpenUSD (.usd, .usda, .usdc, .usdz) to clips, skeletons and skins, through usd-core.

Runs in a child process (see `kinelint.readers.native`): a broken crate file can end it.
"""

from __future__ import annotations

from pathlib import Path

# Before any other module that loads usd-core.
import kinelint.readers.usd_quiet as usd_quiet
from kinelint.clip import Asset
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd_bindings import clip_names, find, populated, takes
from kinelint.readers.usd_clips import ClipMaker
from kinelint.readers.usd_notes import notes_of
from kinelint.readers.usd_skins import SkinMaker, bound_meshes, main_rig
from kinelint.readers.usd_stage import open_scene
from kinelint.readers.usd_words import FAILURES, translated


def read_usd(path: Path, options: ReadOptions) -> Asset:
    """All animations as clips, each over its own skeleton, and the skins of the main one.

    The asset's skeleton is the one that most skinned vertices follow.

    Raises:
        AssetError: naming the prim.
    """
    try:
        return _read(path, options)
    except FAILURES as problem:
        raise translated(problem, str(path)) from problem
    finally:
        usd_quiet.drop_diagnostics()


def _read(path: Path, options: ReadOptions) -> Asset:
    scene = open_scene(path, options)
    found = find(scene)
    cache = populated(found)
    rigs, listed, notes = takes(found, cache, scene, options)
    names, more = clip_names(listed)
    meshes = bound_meshes(found, cache)
    notes = [*scene.notes, *notes, *more, *notes_of(found, listed, meshes, scene)]
    clips = ClipMaker(scene, options).make(listed, names)
    rig = main_rig(rigs, meshes)
    if rig is None:
        return Asset((), notes=tuple(notes))
    maker = SkinMaker(scene, rig)
    skins = maker.make(meshes)
    return Asset(clips, rig.skeleton, skins, (*notes, *maker.notes))
