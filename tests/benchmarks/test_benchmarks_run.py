"""The benchmarks keep working. Nothing here asks how fast: that depends on the machine."""

import importlib
import math
from pathlib import Path

import pytest

EACH = ("kinematics", "rules", "mesh", "memory", "bvh", "readers", "start", "workers")


@pytest.fixture
def run(monkeypatch):
    monkeypatch.syspath_prepend(str(Path(__file__).parent))
    return importlib.import_module("run")


def test_all_are_run(run):
    assert tuple(one.__name__ for one in run.EACH) == EACH


@pytest.mark.parametrize("name", EACH)
def test_benchmark_gives_figures(run, name, capsys):
    if name == "kinematics":
        pytest.importorskip("mujoco")
    if name == "readers":
        pytest.importorskip("pygltflib")
    if name == "memory":
        pytest.importorskip("resource", reason="this system does not tell peaks of memory")
    figures = list(getattr(run, name)(True))
    assert figures
    for what, value, target, _ in figures:
        assert what
        assert math.isfinite(value)
        assert value > 0
        assert target > 0
    assert capsys.readouterr().out
