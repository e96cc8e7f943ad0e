"""One process of coverage-guided fuzzing: `python tests/fuzz/target.py KIND FOUND [options]`.

`run.py` starts it, bounds it by options of libFuzzer, and reads what it put into the folder FOUND.
"""

from __future__ import annotations

import os
import sys
import tempfile
from importlib import import_module
from pathlib import Path
from random import Random

import atheris

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

READ = (
    "kinelint.readers",
    "kinelint.readers.bvh",
    "kinelint.readers.gltf",
    "kinelint.policy",
    "kinelint.cues",
    "kinelint.intake",
    "kinelint.outputs.json_report",
    "tomllib",
)
with atheris.instrument_imports(
    include=[
        "kinelint.readers",
        "kinelint.policy",
        "kinelint.cues",
        "kinelint.globs",
        "kinelint.toml_check",
        "kinelint.toml_places",
        "kinelint.intake",
        "kinelint.outputs.json_report",
        "tomllib",
    ]
):
    for _name in READ:
        import_module(_name)

from fuzz.found import Found  # noqa: E402 - after instrumentation
from hostile import oracle  # noqa: E402
from hostile.gate_oracle import judge_and_check  # noqa: E402
from hostile.mutations import mutated  # noqa: E402
from hostile.seeds import ENDINGS  # noqa: E402
from kinelint.readers import registry  # noqa: E402

# Judging a clip by all rules takes a hundred times as long as reading it.
ONE_IN = 40


class Target:
    """Writes each input to a file and holds what comes of it to the oracle."""

    def __init__(self, kind: str, folder: str, found: Path) -> None:
        self.kind = kind
        self.keep = Found(kind, found)
        self.path = Path(folder, f"input{ENDINGS[kind]}")
        self.read = 0
        # One reader a target: other formats' readers have their own.
        readers = tuple(one for one in registry.BUILT_IN if one.media == kind)
        registry.BUILT_IN = readers or registry.BUILT_IN

    def __call__(self, data: bytes) -> None:
        with self.keep.fault(data):
            self.check(data)

    def check(self, data: bytes) -> None:
        self.path.write_bytes(data)
        if self.kind in ("policy", "cues"):
            oracle.load_and_check(self.path, self.kind)
            return
        if self.kind == "report":
            oracle.load_report_and_check(self.path)
            return
        found = oracle.read_and_check(self.path)
        if getattr(found, "clips", ()):
            self.read += 1
            if self.read % ONE_IN == 1:
                judge_and_check(self.path)


def mutator(kind: str):
    """Half of the inputs by our own mutations, half by libFuzzer's."""

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        random = Random(seed)
        if random.random() < 0.5:
            return bytes(atheris.Mutate(data, most))
        return mutated(kind, bytes(data), random)[:most]

    return mutate


def main() -> None:
    """Fuzzes until libFuzzer's options say stop; never returns."""
    kind, found = sys.argv[1:3]
    # Memory is the fastest file system there is, where there is one.
    shared = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
    with tempfile.TemporaryDirectory(dir=shared) as folder:
        arguments = [sys.argv[0], *sys.argv[3:]]
        atheris.Setup(arguments, Target(kind, folder, Path(found)), custom_mutator=mutator(kind))
        atheris.Fuzz()


if __name__ == "__main__":
    main()
