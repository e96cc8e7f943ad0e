"""`kinelint gate`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from kinelint import registry
from kinelint.cli.files import refuse_inputs, write_whole
from kinelint.cli.terminal import coloured, width
from kinelint.discover import shown_path
from kinelint.engine import run as run_engine
from kinelint.engine.run import Progress
from kinelint.errors import PolicyError
from kinelint.policy import Policy, find_policy, load_policy
from kinelint.policy.find import repository_of
from kinelint.readers import endings
from kinelint.report import Report


def run(asked: argparse.Namespace) -> int:
    """Judges, shows, writes; the exit status is the verdict's."""
    paths = [Path(one) for one in asked.paths]
    policy = policy_for(asked.policy, paths)
    written = [Path(one) for one in (asked.sarif, asked.json) if one]
    _check_outputs(written, paths, asked.policy)
    with progress_bar(shown=sys.stderr.isatty() and not asked.quiet) as progress:
        report = run_engine(paths, policy, workers=asked.workers, progress=progress)
    _write(report, asked)
    _show(report, asked)
    return report.verdict.exit_status


def policy_for(named: str | None, paths: list[Path]) -> Policy:
    """The policy that was named, else the nearest one, else the defaults.

    Raises:
        PolicyError: a path does not exist, or the policy is wrong.
    """
    for path in paths:
        if not path.exists():
            raise PolicyError("there is no such file or folder", path=str(path))
    found = Path(named) if named else find_policy(paths)
    return load_policy(found, registry.load(), "" if found is None else _short(found))


def _short(path: Path) -> str:
    """A path as people would type it here."""
    try:
        return str(path.resolve().relative_to(Path.cwd()))
    except ValueError:
        return str(path)


def _check_outputs(written: list[Path], paths: list[Path], policy: str | None) -> None:
    inputs = [one for one in paths if one.is_file()] + ([Path(policy)] if policy else [])
    known = endings()
    for target in written:
        refuse_inputs(target, inputs, known)
    if len(written) == 2 and written[0].resolve() == written[1].resolve():
        raise PolicyError(
            "both outputs would be written to it", path=str(written[0]), mend="Name two files."
        )


def _write(report: Report, asked: argparse.Namespace) -> None:
    if asked.sarif:
        from kinelint.outputs.sarif import RunDetails, write_sarif

        details = RunDetails(folder=_folder_in_repository(Path(report.root)))
        write_whole(
            Path(asked.sarif),
            lambda stream: write_sarif(
                report, stream, profile=asked.sarif_profile, details=details
            ),
        )
    if asked.json:
        from kinelint.outputs.json_report import dump

        write_whole(Path(asked.json), lambda stream: stream.write(dump(report)))


def _folder_in_repository(root: Path) -> str:
    """Where the root of the run lies in its repository, for hosts that count from there."""
    repository = repository_of(root)
    folder = "." if repository is None else shown_path(root, repository)
    return "" if folder == "." else folder


def _show(report: Report, asked: argparse.Namespace) -> None:
    from kinelint.outputs.console import lines

    shown = lines(
        report,
        width=width(),
        colour=coloured(asked.colour),
        quiet=asked.quiet,
        most=None if asked.all else 12,
    )
    for line in shown:
        print(line)


@contextmanager
def progress_bar(shown: bool) -> Iterator[Progress | None]:
    """A bar over both passes, on a terminal only."""
    if not shown:
        yield None
        return
    from tqdm import tqdm

    words = {"survey": "looking", "judge": "judging"}
    with tqdm(total=0, unit=" files", leave=False, file=sys.stderr, delay=0.3) as bar:

        def tell(phase: str, done: int, total: int) -> None:
            if not done:
                bar.reset(total)
            bar.set_description(words.get(phase, phase), refresh=False)
            bar.update(done - bar.n)

        yield tell
