"""The one door to the FBX binding: load a scene, and keep all that it hands out.

The binding (PyPI `ufbx`) remembers objects that it has handed out and hands out the same address
again after they were freed, which crashes the process. So nothing is ever freed: lists go through
`listed`, single objects through `kept`. Numbers, texts and named tuples are plain Python values
and need no keeping. A process that has used this module must end by `os._exit`.

The binding takes no limits of memory and ignores options that it does not know; the process that
runs it has to be limited from outside. No other file is ever opened: the scene is loaded from
memory, without a name, and external and embedded files are switched off.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from kinelint.errors import AssetError
from kinelint.readers.fbx_text import check_whole, mended
from kinelint.readers.options import ReadOptions

_KEPT: list[object] = []
_MENDS = {
    "EmptyFileError": "Export it again.",
    "TruncatedFileError": "The file ends too early: export or copy it again.",
    "UnrecognizedFileFormatError": "Export it as FBX 7.",
    "UnsupportedVersionError": "Export it as FBX 7.",
    "NodeDepthLimitError": "Flatten the node tree.",
}


def kept(thing: Any) -> Any:
    """The same object, never to be freed."""
    _KEPT.append(thing)
    return thing


def listed(things: Any) -> list[Any]:
    """The members of one of the binding's lists, never to be freed."""
    kept(things)
    members = [things[i] for i in range(len(things))]
    _KEPT.extend(members)
    return members


def load(path: Path, options: ReadOptions) -> Any:
    """The scene in metres, right-handed, Y up.

    Lengths and axes are converted here, because a clip could not say that its file is left-handed
    or that down is up. A left-handed scene is mirrored, so that a left hand stays a left hand.

    Raises:
        AssetError: the binding is not installed, the file is too large, or it cannot be read.
    """
    ufbx = binding()
    data = mended(_bytes(path, options))
    try:
        scene = kept(ufbx.load_memory(data, **_settings(ufbx, options)))
    except ufbx.UfbxError as error:
        mend = _MENDS.get(type(error).__name__, "Export it again, as binary FBX 7.")
        said = str(error) or type(error).__name__
        # What the binding says of most damage.
        said = "its data are damaged" if said == "Failed to load" else said
        what = f"the library that reads FBX refuses them: {said}"
        raise AssetError(what, path=str(path), place="FBX data", mend=mend) from error
    about = kept(scene.metadata)
    if about.ascii:
        check_whole(data, int(about.version))
    return scene


def binding() -> Any:
    """The binding's module.

    Raises:
        AssetError: it is not installed.
    """
    try:
        import ufbx
    except ImportError as error:
        what = "reading FBX needs the package ufbx, which is not installed"
        raise AssetError(what, mend='Install it: pip install "kinelint[fbx]".') from error
    return ufbx


def _bytes(path: Path, options: ReadOptions) -> bytes:
    with path.open("rb") as file:
        # Asked for no more than there is: Python takes the memory for all that is asked.
        size = os.fstat(file.fileno()).st_size
        data = b"" if size > options.max_bytes else file.read(size)
    if size > options.max_bytes:
        what = f"holds {size} bytes, more than the {options.max_bytes} that may be read"
        raise AssetError(what, path=str(path), mend="Raise the limit or split the file.")
    return data


def _settings(ufbx: Any, options: ReadOptions) -> dict[str, Any]:
    return {
        "file_format": ufbx.FileFormat.FBX,
        "ignore_embedded": True,
        "load_external_files": False,
        "ignore_missing_external_files": True,
        "skip_mesh_parts": True,
        "skip_skin_vertices": True,
        "clean_skin_weights": True,
        # A tree of joints is no deeper than it has joints; some more for what carries it.
        "node_depth_limit": options.max_joints + 64,
        "space_conversion": ufbx.SpaceConversion.ADJUST_TRANSFORMS,
        "target_axes": ufbx.axes_right_handed_y_up,
        "handedness_conversion_axis": ufbx.MirrorAxis.X,
        "target_unit_meters": 1.0,
    }


def few(names: Iterable[str], most: int = 4) -> str:
    """Some of the names in quotes, and how many more there are."""
    return listing([repr(name) for name in names], most)


def listing(given: list[str], most: int = 4) -> str:
    """Some of the texts, and how many more there are."""
    rest = len(given) - most
    return ", ".join(given[:most]) + (f" and {rest} more" if rest > 0 else "")


def counted(count: int, one: str, many: str = "") -> str:
    """``1 key`` or ``2 keys``."""
    return f"{count} {one if count == 1 else many or one + 's'}"
