"""The command line: `kinelint gate`, `measure`, `rules`, `formats`, `start`, `calibrate`, `schema`.

Everything heavy is imported by the command that needs it, so that help comes at once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from importlib import import_module

from kinelint.cli.parser import make_parser
from kinelint.errors import KinelintError

NOT_COMPLETED = 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs one command; the exit status is 0, 1 or 2."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal may not know every character
    asked = make_parser().parse_args(arguments)
    try:
        command = import_module(f"kinelint.cli.{asked.command}")
        status: int = command.run(asked)
        sys.stdout.flush()
        return status
    except KinelintError as error:
        for line in str(error).splitlines():
            print(f"kinelint: {line}", file=sys.stderr)
    except BrokenPipeError:
        # Whoever read our output has seen enough; nothing more may be written, not even at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        print("kinelint: stopped", file=sys.stderr)
    except Exception as error:
        if os.environ.get("KINELINT_TRACEBACK"):
            raise
        print(
            f"kinelint: failed: {type(error).__name__}: {error}. Please report this; "
            "KINELINT_TRACEBACK=1 shows where.",
            file=sys.stderr,
        )
    return NOT_COMPLETED
