"""Coverage-guided fuzzing of what reads files: `python tests/fuzz/run.py TARGET --seconds 60`.

TARGET is one of the kinds of `hostile.seeds`, or "all". The seed corpus is made anew each time, by
a script and always alike; what a run finds worth keeping goes to `--corpus`, if that is given. An
input that breaks the oracle, takes too long or too much memory is stored in `--found`, and the
exit status is 1. A found input becomes a test in `tests/hostile` once it is mended.

Formats that are read in a child process are tried by mutations alone, see `native`. Needs
`pip install -e ".[fuzz]"`; a target whose package is missing is skipped with a line that says so.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from fuzz import native  # noqa: E402 - beside this folder
from hostile.seeds import NATIVE, SEEDS  # noqa: E402

FOUND = HERE.parents[1] / "build" / "fuzz"
LONGEST_S = 10
MOST_MEMORY_MB = 1024
LARGEST_BYTES = 16_384


@dataclass(frozen=True)
class Came:
    """What a run came to."""

    target: str
    status: int
    executions: int
    seconds: int
    found: tuple[Path, ...]
    output: str

    @property
    def line(self) -> str:
        """For people."""
        inputs = [one for one in self.found if one.suffix != ".txt"]
        said = ", ".join(str(one) for one in inputs) or "nothing found"
        if self.status and not self.found:
            said = f"failed with status {self.status}"
        how = f" ({self.output})" if self.target in NATIVE else ""
        return f"{self.target}: {self.executions:,} inputs{how} in {self.seconds} s; {said}"


def fuzz(target: str, seconds: int, seed: int, found: Path, corpus: Path | None = None) -> Came:
    """Fuzzes one target in a process of its own."""
    found.mkdir(parents=True, exist_ok=True)
    before = set(found.iterdir())
    if target in NATIVE:
        tried, came = native.fuzz(target, seconds, seed, found)
        new = tuple(sorted(set(found.iterdir()) - before))
        return Came(target, 0, tried, seconds, new, ", ".join(f"{n} {w}" for w, n in came.items()))
    with tempfile.TemporaryDirectory() as folder:
        seeds = Path(folder, "seeds")
        seeds.mkdir()
        for name, data in SEEDS[target]().items():
            seeds.joinpath(name).write_bytes(data)
        kept = corpus or Path(folder, "kept")
        kept.mkdir(parents=True, exist_ok=True)
        done = subprocess.run(
            [sys.executable, str(HERE / "target.py"), target, str(found), str(kept), str(seeds),
             f"-max_total_time={seconds}", f"-seed={seed}", f"-timeout={LONGEST_S}",
             f"-rss_limit_mb={MOST_MEMORY_MB}", f"-max_len={LARGEST_BYTES}",
             f"-artifact_prefix={found}/{target}-", "-print_final_stats=1"],
            capture_output=True,
            text=True,
            errors="replace",
        )  # fmt: skip
    log = done.stdout + done.stderr
    whole = re.search(r"Done (\d+) runs in (\d+) second", log)
    stopped = re.search(r"stat::number_of_executed_units:\s*(\d+)", log)
    runs = whole or stopped
    return Came(
        target,
        done.returncode,
        int(runs[1]) if runs else 0,
        int(whole[2]) if whole else seconds,
        tuple(sorted(set(found.iterdir()) - before)),
        log,
    )


def main() -> int:
    """Prints one line a target, and what is wrong with the inputs found."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("target", choices=[*SEEDS, "all"])
    parser.add_argument("--seconds", type=int, default=60, help="for each target")
    parser.add_argument("--seed", type=int, default=1, help="of libFuzzer; runs are repeatable")
    parser.add_argument("--found", type=Path, default=FOUND, help="folder")
    parser.add_argument("--corpus", type=Path, help="folder to keep what raises the coverage")
    asked = parser.parse_args()
    status = 0
    for target in SEEDS if asked.target == "all" else [asked.target]:
        needs = NATIVE.get(target, "atheris")
        if find_spec(needs) is None:
            print(f"{target}: fuzzing SKIPPED, {needs} is not installed")
            continue
        kept = asked.corpus / target if asked.corpus else None
        came = fuzz(target, asked.seconds, asked.seed, asked.found.resolve(), kept)
        print(came.line, flush=True)
        if came.status or came.found:
            status = 1
            said = [one.read_text() for one in came.found if one.suffix == ".txt"]
            print("\n".join(said) or came.output[-4000:], flush=True)
    return status


if __name__ == "__main__":
    sys.exit(main())
