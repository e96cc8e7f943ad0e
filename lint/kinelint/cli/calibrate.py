"""`kinelint calibrate`."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from kinelint.calibrate import (
    Change,
    Probe,
    Proposal,
    Study,
    edited,
    new_text,
    probes,
    propose,
    study,
    unified,
)
from kinelint.calibrate.picture import draw, refuse_without_library
from kinelint.calibrate.shown import distribution, proposals
from kinelint.cli.files import refuse_inputs, write_whole
from kinelint.cli.gate import policy_for, progress_bar
from kinelint.cli.terminal import coloured, width
from kinelint.discover import shown_path
from kinelint.engine import run as run_engine
from kinelint.errors import PolicyError
from kinelint.outputs.ink import Ink
from kinelint.outputs.wording import counted, number
from kinelint.plain_file import read_plain
from kinelint.policy import POLICY_NAME, Policy, find_policy
from kinelint.policy.find import below, repository_of, root_of
from kinelint.readers import endings
from kinelint.report import Report
from kinelint.toml_places import MOST_BYTES


def run(asked: argparse.Namespace) -> int:
    """Shows what good clips measure, and the limits that follow; changes no file."""
    paths = [Path(one) for one in asked.paths]
    policy = policy_for(asked.policy, paths)
    file = Path(asked.policy) if asked.policy else find_policy(paths)
    if file == Path(os.devnull):
        file = None  # how people say that they want none
    _check_outputs(asked, paths, policy, file)
    found = study(policy, list(_runs(paths, policy, asked.workers)))
    for line in distribution(found, width(), Ink(coloured(asked.colour))):
        print(line.rstrip())
    print()
    _refuse_few(found, asked)
    made = [
        propose(
            one,
            policy,
            percentile=asked.percentile,
            margin_percent=asked.margin,
            least_clips=asked.min_clips,
        )
        for one in found.quantities
    ]
    for line in _proposed(made, found, asked):
        print(line.rstrip())
    if asked.plot:
        target = Path(asked.plot)
        write_whole(target, lambda stream: draw(made, stream, target.suffix))
    _diff([change for one in made for change in one.changes], paths, file, asked.diff)
    return 0


def _runs(
    paths: Sequence[Path], policy: Policy, workers: int | None
) -> Iterator[tuple[Probe, Report]]:
    with progress_bar(shown=sys.stderr.isatty()) as progress:
        for probe in probes(policy):
            yield probe, run_engine(paths, probe.policy, workers=workers, progress=progress)


def _check_outputs(
    asked: argparse.Namespace, paths: Sequence[Path], policy: Policy, file: Path | None
) -> None:
    inputs = [one for one in paths if one.is_file()] + ([file] if file else [])
    trees = [one if one.is_dir() else one.parent for one in paths]
    trees += [policy.root] if policy.root else []
    targets = [Path(one) for one in (asked.diff, asked.plot) if one]
    for target in targets:
        refuse_inputs(target, inputs, endings())
        if any(below(target, one) for one in trees):
            raise PolicyError(
                "will not be written: it lies in the tree of assets",
                path=str(target),
                mend="Name a file outside of it.",
            )
    if len(targets) == 2 and targets[0].resolve() == targets[1].resolve():
        raise PolicyError("both outputs would be written to it", path=str(targets[0]))
    if asked.plot:
        refuse_without_library(Path(asked.plot))


def _refuse_few(found: Study, asked: argparse.Namespace) -> None:
    """Limits from a handful of clips would be those clips' own.

    Raises:
        PolicyError: there are too few clips, or too little of them.
    """
    if found.clips >= asked.min_clips and found.seconds >= asked.min_seconds:
        return
    raise PolicyError(
        f"too little to propose limits from: {counted(found.clips, 'clip')} with "
        f"{number(found.seconds)} s were judged, {asked.min_clips} clips and "
        f"{number(asked.min_seconds)} s are needed",
        mend="Name more clips that you hold good.",
    )


def _proposed(made: Sequence[Proposal], found: Study, asked: argparse.Namespace) -> Iterator[str]:
    yield f"{counted(found.clips, 'clip')} with {number(found.seconds)} s."
    yield from proposals(made, asked.percentile, asked.margin, width())


def _diff(
    changes: Sequence[Change], paths: Sequence[Path], file: Path | None, target: str | None
) -> None:
    """Prints the policy diff, or the text of a new policy, and writes the diff where asked."""
    if not changes:
        return
    if file is None:
        old, new = None, new_text(changes)
        path = root_of(paths, None) / POLICY_NAME
    else:
        path = file.resolve()
        # Bytes, since line ends must stay what they are.
        old = read_plain(path, MOST_BYTES).decode("utf-8")
        new = edited(old, changes, str(file))
    text = unified(old, new, _from_repository(path))
    print()
    print(text if file else f"# {POLICY_NAME}, new:\n{new}", end="")
    if target:
        write_whole(Path(target), lambda stream: stream.write(text.encode()))


def _from_repository(path: Path) -> str:
    folder = repository_of(path.parent)
    return path.name if folder is None else shown_path(path, folder)
