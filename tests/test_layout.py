"""The layout that packaging and imports rely on."""

from importlib.metadata import entry_points
from pathlib import Path

from fuzz.run import FOUND
from kinelint.registry import GROUP, load

ROOT = Path(__file__).resolve().parent.parent


def _importable(folder: Path) -> set[str]:
    return {
        entry.name
        for entry in folder.iterdir()
        if (entry.suffix == ".py" or (entry / "__init__.py").exists())
        and not entry.name.startswith(".")
    }


def test_folders_on_the_path_hold_one_package_each():
    # Both folders lie on sys.path in an editable install: anything else in them would leak.
    assert _importable(ROOT / "lint") == {"kinelint"}
    assert _importable(ROOT / "rules") == {"kinelint_rules"}


def test_top_level_is_what_the_documents_say():
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pyproject.toml",
        "lint",
        "rules",
        "tests",
        "example_project",
    }
    seen = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert seen - {"build", "dist"} <= allowed
    assert allowed <= seen


def test_what_fuzzing_finds_is_stored_out_of_the_way():
    assert FOUND == ROOT / "build" / "fuzz"


def test_built_in_rules_come_in_by_the_common_door():
    names = {entry.name for entry in entry_points(group=GROUP)}
    assert "builtin" in names
    assert {one.pack for one in load().values()} == {"kinelint"}


def test_packages_are_typed():
    for marker in ("lint/kinelint/py.typed", "rules/kinelint_rules/py.typed"):
        assert (ROOT / marker).exists()
