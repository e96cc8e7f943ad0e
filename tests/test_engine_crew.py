"""Several processes: the same report, whatever their number, and whoever dies."""

from __future__ import annotations

import dataclasses
import multiprocessing
import sys
import unicodedata

import pytest

from ferry_tree import bvh, write
from kinelint.engine import run
from kinelint.errors import PolicyError
from kinelint.policy import load_policy
from kinelint.report import Verdict
from policy_rules import Crashing, Dying, Graded, HeadHeight, registered

HIGH = [0.98] * 10 + [1.5, 1.6, 1.55] + [0.98] * 7
METHODS = sorted(set(multiprocessing.get_all_start_methods()) - {"fork"})


def judged(tree, *rules, workers, start_method=None):
    report = run(
        [tree],
        load_policy(None, registered(*rules)),
        workers=workers,
        start_method=start_method,
    )
    return dataclasses.replace(report, seconds=0.0)


@pytest.fixture
def tree(tmp_path):
    # Folders and names that a shell, an old code page or a URL would stumble over.
    folder = tmp_path / "fähre – ночь 夜"
    write(folder, a=bvh(HIGH), **{"crew__ropé #1 %41": bvh(HIGH, 30), "夜__walk": bvh()})
    return folder


@pytest.mark.parametrize(
    ("method", "workers"), [*((METHODS[0], n) for n in (1, 2, 3)), ("spawn", 2)]
)
def test_the_report_does_not_depend_on_the_workers(tree, method, workers):
    rules = (HeadHeight, Graded, Crashing)
    alone = judged(tree, *rules, workers=0)
    assert judged(tree, *rules, workers=workers, start_method=method) == alone
    paths = [unicodedata.normalize("NFC", one.path) for one in alone.assets]
    assert paths == ["a.bvh", "crew/ropé #1 %41.bvh", "夜/walk.bvh"]


def test_a_worker_that_dies_costs_its_own_file(tmp_path):
    names = [f"clip{number}" for number in range(6)]
    write(tmp_path, **{name: bvh(HIGH) for name in names}, deadly1=bvh(), deadly2=bvh())
    report = judged(tmp_path, HeadHeight, Dying, workers=2)
    lost = [one.path for one in report.all_troubles() if one.kind == "lost-worker"]
    assert lost == ["deadly1.bvh", "deadly2.bvh"]
    assert len(report.all_troubles()) == 2
    good = [asset for asset in report.assets if asset.clips]
    assert [asset.path for asset in good] == [f"{name}.bvh" for name in names]
    assert report.verdict is Verdict.INCOMPLETE
    assert all(len(asset.sha256) == 64 for asset in report.assets)


def test_a_policy_that_contradicts_itself_ends_the_run(tmp_path):
    write(tmp_path, a=bvh(), b=bvh())
    (tmp_path / "kinelint.toml").write_text(
        '[[scope]]\nclips = ["**"]\nrules.head-height.max_height_mm = 100\n'
        '[[scope]]\nclips = ["b.bvh"]\nrules.head-height.min_height_mm = 500\n'
    )
    policy = load_policy(tmp_path / "kinelint.toml", registered(HeadHeight))
    with pytest.raises(PolicyError, match=r"line 4.*must lie below"):
        run([tmp_path], policy, workers=2)


def test_an_interrupt_leaves_no_worker_behind(tmp_path):
    write(tmp_path, **{f"clip{number}": bvh() for number in range(6)})

    def interrupt(phase, done, _):
        if phase == "judge" and done == 1:
            raise KeyboardInterrupt

    policy = load_policy(None, registered(HeadHeight))
    with pytest.raises(KeyboardInterrupt):
        run([tmp_path], policy, workers=2, progress=interrupt, start_method="spawn")
    assert not multiprocessing.active_children()


@pytest.mark.skipif(sys.platform == "win32", reason="names are always text there")
def test_a_name_that_is_no_text(tmp_path):
    import os

    folder = os.fsencode(tmp_path)
    try:
        with open(folder + b"/sh\xf6re.bvh", "w") as file:  # noqa: PTH123 - a name in bytes
            file.write(bvh())
    except OSError:
        pytest.skip("this file system takes text only")
    report = judged(tmp_path, HeadHeight, workers=0)
    assert [one.path for one in report.assets] == ["sh\ufffdre.bvh"]
    assert report.assets[0].clips
