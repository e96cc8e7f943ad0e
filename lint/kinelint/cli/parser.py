"""The words of the command line."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

from kinelint import __version__

_ABOUT = """\
The lint for character animation: measures every clip of an asset tree against
a team's policy, and says what is wrong where, by how much, and what to do.
"""
_EXIT = """\
exit status:
  0  nothing at or above the policy's failing level
  1  findings at or above it
  2  the run could not be completed: bad policy, unreadable asset, crashed rule
"""
_GATE = """\
Judges every clip under the given files and folders. The policy is the nearest
kinelint.toml in or above them; without one, all rules run with their defaults.
"""
_MEASURE = """\
Prints what can be measured of a clip, and judges nothing: lengths, heights,
speeds, joint angles, contacts of the feet, overlaps, the seam of a loop.
Joint angles screen animation; they are no medical measurement.
"""
_RULES = "Lists the installed rules, or shows all that one rule says of itself."
_FORMATS = """\
Lists the file formats that can be read and what they need, or shows what of a
format is carried over and what is not.
"""
_START = """\
Looks at a tree of clips and writes a policy for it to start from, with
comments: kinelint.toml in DIR. An existing policy is left alone.
"""
_CALIBRATE = """\
Measures every size in clips that you hold good, shows how each is distributed
by part of the body, and proposes limits for the policy as a diff. Changes no
file: apply the diff if you agree. Says which limits it would loosen.
"""
_EXPORTS = """\
Lists the working files that the policy pairs with exports, and how they stand.
With --record, notes after an export what each came from, by content, in a file
beside the policy (exports.toml) that belongs into version control.
"""
_SCHEMA = """\
Prints the JSON Schema of a policy or cue sheet, with the settings of all
installed rules, for editors that check and complete TOML.
"""


def make_parser() -> argparse.ArgumentParser:
    """The parser of all commands."""
    parser = argparse.ArgumentParser(
        prog="kinelint",
        description=_ABOUT,
        epilog=_EXIT,
        formatter_class=_Help,
    )
    parser.add_argument("--version", action="version", version=f"kinelint {__version__}")
    commands = parser.add_subparsers(
        dest="command", required=True, metavar="COMMAND", title="commands"
    )
    _gate(_command(commands, "gate", "judge clips against the policy", _GATE, _EXIT))
    _measure(_command(commands, "measure", "measure one clip, judge nothing", _MEASURE))
    _rules(_command(commands, "rules", "list the rules, or explain one", _RULES))
    _formats(_command(commands, "formats", "list the file formats that are read", _FORMATS))
    _start(_command(commands, "start", "write a policy to start from", _START))
    _calibrate(_command(commands, "calibrate", "propose limits from good clips", _CALIBRATE))
    _exports(_command(commands, "exports", "record what was exported from what", _EXPORTS))
    _schema(_command(commands, "schema", "print a JSON Schema for editors", _SCHEMA))
    return parser


class _Help(argparse.RawDescriptionHelpFormatter):
    """Help in 80 columns, however wide the terminal."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=28, width=78)


def _command(
    commands: Any, name: str, short: str, text: str, epilog: str | None = None
) -> argparse.ArgumentParser:
    made: argparse.ArgumentParser = commands.add_parser(
        name, help=short, description=text, epilog=epilog, formatter_class=_Help
    )
    return made


def _gate(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("paths", nargs="*", metavar="PATH", help="files and folders to judge")
    _policy(parser)
    parser.add_argument("--sarif", metavar="FILE", help="write a SARIF 2.1.0 log")
    parser.add_argument(
        "--sarif-profile",
        choices=("full", "upload"),
        default="full",
        help="full: true to the standard; upload: what code hosts accept",
    )
    parser.add_argument("--json", metavar="FILE", help="write the whole report as JSON")
    parser.add_argument(
        "--workers",
        type=_count,
        metavar="N",
        help="processes to work in; as many as cores if left out, 0 for none",
    )
    parser.add_argument(
        "--all",
        action="store_true",
        help="show every finding, note and reason, not the first of each",
    )
    parser.add_argument(
        "--quiet", action="store_true", help="show findings only, nothing that was assumed"
    )
    _colour(parser)


def _measure(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "clip",
        nargs="+",
        metavar="CLIP",
        help="a file; FILE#NAME for one of the clips in it; files and folders with --takes",
    )
    parser.add_argument(
        "--takes",
        action="store_true",
        help="rank takes of one action by what cleaning them would cost",
    )
    parser.add_argument(
        "--workers", type=_count, metavar="N", help="processes for --takes; 0 for none"
    )
    parser.add_argument(
        "--skeleton",
        action="store_true",
        help="show which joint was taken for which part, how surely, and why",
    )
    _policy(parser)
    _colour(parser)


def _rules(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("rule", nargs="?", metavar="RULE", help="the id of one rule")
    parser.add_argument(
        "--markdown", action="store_true", help="print the pages of the rules as Markdown"
    )
    _colour(parser)


def _formats(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("format", nargs="?", metavar="FORMAT", help="the name of one format")
    parser.add_argument(
        "--markdown", action="store_true", help="print the pages of the formats as Markdown"
    )
    _colour(parser)


def _start(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", help="the folder of the asset tree")


def _calibrate(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("paths", nargs="+", metavar="PATH", help="files and folders of good clips")
    _policy(parser)
    parser.add_argument(
        "--percentile",
        type=_between(50.0, 100.0),
        default=99.0,
        metavar="P",
        help="of the clips' worst sizes, %% (default 99)",
    )
    parser.add_argument(
        "--margin",
        type=_between(0.0, 1000.0),
        default=10.0,
        metavar="M",
        help="on top of it, %% (default 10)",
    )
    parser.add_argument("--plot", metavar="FILE", help="draw the distributions (.png, .svg, .pdf)")
    parser.add_argument("--diff", metavar="FILE", help="write the diff to a file of its own")
    parser.add_argument(
        "--min-clips", type=_count, default=20, metavar="N", help="needed at least (default 20)"
    )
    parser.add_argument(
        "--min-seconds",
        type=_between(0.0, 1e9),
        default=60.0,
        metavar="S",
        help="of motion needed at least (default 60)",
    )
    parser.add_argument("--workers", type=_count, metavar="N", help="processes; 0 for none")
    _colour(parser)


def _exports(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", nargs="?", default=".", metavar="DIR", help="folder of the tree")
    _policy(parser)
    parser.add_argument(
        "--record",
        action="store_true",
        help="note the content of each working file and its export as belonging together; what "
        "is stale keeps its old entry",
    )
    parser.add_argument(
        "--record-stale",
        action="store_true",
        help="the same, of stale exports too: they came out the same",
    )


def _schema(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("of", choices=("policy", "cues"), help="which file's schema")


def _policy(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--policy", metavar="FILE", help="the policy to hold the clips to")


def _colour(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--colour",
        "--color",
        choices=("auto", "always", "never"),
        default="auto",
        help="auto: on a terminal, unless NO_COLOR is set",
    )


def _between(least: float, most: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not least <= value <= most:
            raise argparse.ArgumentTypeError(
                f"must be a number from {least:g} to {most:g}, not {text!r}"
            )
        return value

    return read


def _count(text: str) -> int:
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"must be a whole number, 0 or more, not {text!r}")
    return int(text)
