"""`kinelint start`."""

from __future__ import annotations

import argparse
from pathlib import Path

from kinelint import registry
from kinelint.cli.files import write_whole
from kinelint.cli.terminal import width
from kinelint.errors import PolicyError
from kinelint.outputs.cells import wrapped
from kinelint.outputs.wording import counted, prose
from kinelint.policy import POLICY_NAME, load_policy
from kinelint.starter import Look, compose, look


def run(asked: argparse.Namespace) -> int:
    """Writes a starter policy into a folder that has none."""
    folder = Path(asked.folder)
    target = folder / POLICY_NAME
    if not folder.is_dir():
        raise PolicyError("there is no such folder", path=asked.folder)
    if target.exists() or target.is_symlink():
        raise PolicyError(
            "is there already, and stays as it is",
            path=str(target),
            mend="Move it away to start anew.",
        )
    rules = registry.load()
    seen = look(folder, rules)
    text = compose(seen, rules)
    write_whole(target, lambda stream: stream.write(text.encode()))
    load_policy(target, rules)
    for line in _summary(seen, target):
        print(line)
    return 0


def _summary(seen: Look, target: Path) -> list[str]:
    wide = width()
    said = [
        f"{counted(seen.files, 'file')} with {counted(seen.clips, 'clip')} on "
        f"{counted(len(seen.skeletons), 'skeleton')}."
    ]
    if seen.loops:
        said.append(f"{counted(len(seen.loops), 'clip')} may be loops: see the policy.")
    said += [f"Could not be read: {one}" for one in seen.unreadable]
    said.append(f"Wrote {target}. Read it, then run: kinelint gate {target.parent}")
    return [line for text in said for line in wrapped(prose(text), wide)]
