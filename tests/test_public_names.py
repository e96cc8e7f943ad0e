"""The public door: every name is there, and asking for none of them loads nothing heavy."""

import subprocess
import sys

import pytest

import kinelint


@pytest.mark.parametrize("name", kinelint.__all__)
def test_every_public_name_is_there_and_documented(name):
    assert getattr(kinelint, name).__doc__


def test_unknown_names_are_refused():
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = kinelint.nothing


def test_the_version_is_that_of_the_distribution():
    from importlib.metadata import version

    assert kinelint.__version__ == version("kinelint")


def test_importing_it_loads_nothing_heavy():
    code = "import sys, kinelint; print([m for m in ('numpy', 'pydantic') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_no_public_name_is_hidden_by_a_module():
    # Importing a module sets it on the package, over a public name of the same spelling.
    import pkgutil

    modules = {module.name for module in pkgutil.iter_modules(kinelint.__path__)}
    assert modules.isdisjoint(kinelint.__all__)
