"""The formats that are read: the list, the page made from the readers, what readers need."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kinelint.cli import main
from kinelint.format_info import FormatInfo
from kinelint.outputs.format_pages import page, page_of_all, render_format, render_formats
from kinelint.readers import registry
from kinelint.readers.native import NativeReader

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "lint" / "README.md"
HULL = FormatInfo("hull", (".hull", ".hl"), "* Planks.", "ferry[hull]", False, True, "ferry-hulls")


def test_the_page_of_the_formats_is_fresh(capsys):
    assert main(["formats", "--markdown"]) == 0
    made = capsys.readouterr().out
    assert PAGE.read_text(encoding="utf-8") == made, (
        "run: kinelint formats --markdown > lint/README.md"
    )


def test_every_built_in_reader_says_what_it_carries_and_what_not():
    for one in registry.formats()[: len(registry.BUILT_IN)]:
        assert one.pack == "kinelint"
        for word in ("Carried over", "Set aside", "Refused"):
            assert word in one.carries, (one.media, word)
        assert all(len(line) <= 100 for line in one.carries.splitlines())


def test_the_readme_names_every_format_and_what_it_needs():
    text = (ROOT / "README.md").read_text(encoding="utf-8").partition("## Formats")[2]
    for one in registry.formats()[: len(registry.BUILT_IN)]:
        for ending in one.endings:
            assert f"`{ending}`" in text
        assert one.install in text


def test_what_is_needed_is_an_extra_of_the_project():
    declared = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    for one in registry.BUILT_IN:
        if isinstance(one, NativeReader):
            assert re.search(rf"^{one.extra} = \[", declared, flags=re.MULTILINE)


def test_the_list_says_what_is_missing():
    text = render_formats([HULL], width=100)
    line = '.hull, .hl (pack ferry-hulls); to read it: pip install "ferry[hull]"'
    assert line in text
    assert "pip" not in render_formats([FormatInfo("bvh", (".bvh",))])


def test_a_page_of_a_format():
    text = page(HULL)
    for part in ("## hull", "`.hull`, `.hl`", "ferry[hull]", "* Planks.", "pack ferry-hulls"):
        assert part in text
    assert "does not say" in page(FormatInfo("rows", (".rows",)))
    assert "[hull](#hull)" in page_of_all([HULL])


def test_the_command(capsys):
    assert main(["formats", "--colour", "never"]) == 0
    assert re.search(r"^usd +\.usd, \.usda", capsys.readouterr().out, flags=re.MULTILINE)
    assert main(["formats", "bvh"]) == 0
    assert "position channels" in " ".join(capsys.readouterr().out.split())
    assert main(["formats", "bvh", "--markdown"]) == 0
    assert capsys.readouterr().out.startswith("## bvh\n")
    assert main(["formats", "bhv"]) == 2
    assert "bvh" in capsys.readouterr().err


@pytest.mark.parametrize("info", registry.formats(), ids=lambda one: one.media)
@pytest.mark.parametrize("width", [40, 80])
def test_a_format_fits_the_terminal_and_says_all_of_its_page(info, width):
    text = render_format(info, width=width)
    assert max(map(len, text.splitlines())) <= width
    words = page(info).replace("`", "").replace("#", "").replace("*", "").split()
    assert text.replace("*", "").split() == words


@pytest.mark.parametrize("media", ["fbx", "usd"])
def test_looking_at_formats_imports_nothing_native(media):
    import subprocess
    import sys

    needs = next(one.needs for one in registry.BUILT_IN if one.media == media)
    code = f"import sys; from kinelint.cli import main; main(['formats', '{media}'])"
    done = subprocess.run(
        [sys.executable, "-c", f"{code}; assert {needs!r} not in sys.modules"],
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
