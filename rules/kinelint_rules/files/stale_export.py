"""Every working file has its export, and it is of the working file as it is now."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from kinelint.cue import Exported
from kinelint.finding import Finding, Level
from kinelint.pair_rule import WHOLE_FILE, ExportPair, PairExample, PairRule
from kinelint.rule import RuleSettings, setting

PRACTICE = "common practice, no source"
_MEND = "then run `kinelint exports --record`"


class StaleExportSettings(RuleSettings):
    """Settings of `stale-export`."""

    must_be_exported: bool = setting(
        True, why="Turn it off while working files may wait for their export.", source=PRACTICE
    )
    must_be_recorded: bool = setting(
        False,
        why="Turn it on where nothing may be shipped of which no one knows what it came from.",
        source=PRACTICE,
    )


class StaleExport(PairRule[StaleExportSettings]):
    """Every working file has its export, and it is of the working file as it is now.

    The policy pairs them by patterns: `[[export]] source = "work/{name}.bvh"`, `export =
    "clips/{name}.glb"`. Dates of files say little, since a checkout renews them; so the bytes
    count. `kinelint exports --record` notes, after an export, the SHA-256 of each working file
    and of what came from it; the record lies beside the policy and goes into version control.
    From then on a working file that changed while its export did not is found, and an export that
    changed by itself.
    """

    id = "stale-export"
    source = PRACTICE
    level = Level.ERROR
    quantity = "Whether working file and export still have the content that was recorded."
    on_screen = "The game plays an older motion than the one that was approved, or none."
    remedy = "Export the working file again, and record it."

    @staticmethod
    def check(pair: ExportPair, settings: StaleExportSettings, /) -> Iterator[Finding]:
        """Yields at most one finding."""
        export = pair.bond.export
        if not pair.export_sha256:
            if settings.must_be_exported:
                yield _finding(
                    "missing",
                    Level.ERROR,
                    f"has no export: there is no {export}",
                    f"Export it to {export}, {_MEND}.",
                    "must_be_exported",
                )
            return
        if pair.recorded is None:
            level = Level.ERROR if settings.must_be_recorded else Level.NOTE
            yield _finding(
                "unrecorded",
                level,
                f"nothing is recorded of what {export} was exported from",
                "Export it again if in doubt, " + _MEND + ".",
                "must_be_recorded",
            )
            return
        source_same = pair.recorded[0] == pair.source_sha256
        export_same = pair.recorded[1] == pair.export_sha256
        if not source_same and export_same:
            yield _finding(
                "stale",
                Level.ERROR,
                f"has changed since {export} was exported from it",
                f"Export it again to {export}, {_MEND}.",
            )
        elif source_same and not export_same:
            yield _finding(
                "edited",
                Level.WARNING,
                f"{export} has changed, though its working file has not",
                f"If it was edited by hand, bring that into the working file; export, {_MEND}.",
            )
        elif not source_same:
            level = Level.ERROR if settings.must_be_recorded else Level.NOTE
            yield _finding(
                "unrecorded",
                level,
                f"it and {export} have both changed since they were recorded",
                f"Make sure that {export} came from it, {_MEND}.",
                "must_be_recorded",
            )

    @staticmethod
    def examples() -> Iterable[PairExample]:
        """A pair as recorded; one without export; stale, edited and unrecorded ones."""
        bond = Exported("haul", "work/haul.bvh", "clips/haul.glb")
        then = ("a1", "b1")
        yield PairExample("as recorded", ExportPair(bond, "a1", "b1", then))
        yield PairExample("no export", ExportPair(bond, "a1"), 1, {}, "missing", Level.ERROR)
        stale = ExportPair(bond, "a2", "b1", then)
        yield PairExample("the working file went on", stale, 1, {}, "stale", Level.ERROR)
        edited = ExportPair(bond, "a1", "b2", then)
        yield PairExample("the export was edited", edited, 1, {}, "edited", Level.WARNING)
        both = ExportPair(bond, "a2", "b2", then)
        yield PairExample("both went on", both, 1, {}, "unrecorded", Level.NOTE)
        bare = ExportPair(bond, "a1", "b1")
        strict = {"must_be_recorded": True}
        yield PairExample("never recorded", bare, 1, strict, "unrecorded", Level.ERROR)
        allowed = {"must_be_exported": False}
        yield PairExample("not exported yet, and allowed", ExportPair(bond, "a1"), 0, allowed)


def _finding(detail: str, level: Level, message: str, remedy: str, setting: str = "") -> Finding:
    return Finding(
        message=message,
        span=WHOLE_FILE,
        parts=("clip",),
        remedy=remedy,
        level=level,
        detail=detail,
        setting=setting,
        confidence=0.5 if detail == "unrecorded" else 0.99,
    )
