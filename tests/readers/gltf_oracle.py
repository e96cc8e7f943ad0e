"""Real glTF files by pygltflib, each loaded once: it takes seconds for one of many clips."""

from functools import cache
from pathlib import Path

import pygltflib


@cache
def tree(path: Path) -> pygltflib.GLTF2:
    """The file as pygltflib has it."""
    load = pygltflib.GLTF2().load_json if path.suffix == ".gltf" else pygltflib.GLTF2().load_binary
    return load(str(path))
