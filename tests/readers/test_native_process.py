"""Whatever happens to the process that reads a file becomes one error that names what happened."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

import hull_format
from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.readers import native_host, native_told
from kinelint.readers.native_host import Host
from kinelint.readers.options import ReadOptions

posix = pytest.mark.skipif(sys.platform == "win32", reason="there are no signals there")
linux = pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")
# What ends at once needs no more than this on the busiest machine; what never ends gets less.
ROOMY = ReadOptions(max_seconds=20.0)
BRIEF = ReadOptions(max_seconds=1.0)


@pytest.fixture(scope="module")
def host():
    made = Host("hull", "hull_format:read_hull")
    yield made
    made.close()


def hull(folder: Path, *words: str) -> Path:
    path = folder / "夜 fähre.hull"
    path.write_text(" ".join(("HULL", *words)), encoding="utf-8")
    return path


def refused(host: Host, path: Path, options: ReadOptions = ROOMY) -> AssetError:
    with pytest.raises(AssetError) as caught:
        host.read(path, options)
    assert caught.value.mend
    return caught.value


def pid_of(host: Host) -> int:
    assert host._child is not None
    return host._child.process.pid


def test_one_child_reads_file_after_file(host: Host, tmp_path: Path) -> None:
    asset = host.read(hull(tmp_path, "still", "5"), ROOMY)
    assert isinstance(asset, Asset)
    assert (asset.clips[0].name, asset.clips[0].frames) == ("夜 fähre", 5)
    first = pid_of(host)
    assert first != os.getpid()
    host.read(hull(tmp_path, "still", "7"), ROOMY)
    assert pid_of(host) == first


@linux
def test_a_name_that_is_no_text(host: Host, tmp_path: Path) -> None:
    name = os.fsdecode(b"sh\xf6re.hull")
    try:
        (tmp_path / name).write_text("HULL still")
    except OSError:
        pytest.skip("this file system takes text only")
    assert host.read(tmp_path / name, ROOMY).clips[0].name == "sh\ufffdre"


def test_what_the_reader_says_of_a_file_passes(host: Host, tmp_path: Path) -> None:
    error = refused(host, hull(tmp_path, "refuse"))
    said = ("the mast is missing", "line 2", "Step the mast.")
    assert (error.what, error.place, error.mend) == said
    assert refused(host, hull(tmp_path, "unopened")).what.startswith("cannot be opened: No such")


def test_a_fault_of_the_reader_is_one_line_and_says_where(host: Host, tmp_path: Path) -> None:
    error = refused(host, hull(tmp_path, "raise"))
    assert error.what.startswith("the HULL reader failed on it: ValueError: no  [31mkeel  and no")
    assert error.what.isprintable()
    assert "hull_format.py" in error.details
    assert str(Path(__file__).parents[2]) not in error.details


DEATHS = {
    "segv": "the HULL library crashed on it (signal 11, SIGSEGV)",
    "abort": "the HULL library crashed on it (signal 6, SIGABRT)",
    "os-exit": "the HULL library ended its process on it (status 3)",
    "exit": "the HULL reader failed on it: SystemExit: 3",
    "loop": "reading it took more than the 1 s allowed",
    "hold": "reading it took more than the 1 s allowed",
    "garbage": "what the HULL library made of it is no motion: it does not begin as an answer",
    "flood": "what the HULL library made of it is no motion: it answers another question",
    "close": "the HULL library ended its process on it (status ",
    "children": "the HULL library crashed on it (signal 6, SIGABRT)",
}


@posix
@pytest.mark.parametrize("deed", DEATHS)
def test_a_file_that_ends_the_process_is_told_and_the_next_is_read(
    host: Host, tmp_path: Path, deed: str
) -> None:
    host.read(hull(tmp_path, "still"), ROOMY)
    started = time.monotonic()
    options = BRIEF if deed in ("loop", "hold") else ROOMY
    assert refused(host, hull(tmp_path, deed), options).what.startswith(DEATHS[deed])
    assert time.monotonic() - started < 15
    assert host.read(hull(tmp_path, "still", "4"), ROOMY).clips[0].frames == 4


@posix
def test_a_crash_says_where_without_folders_of_this_machine(host: Host, tmp_path: Path) -> None:
    details = refused(host, hull(tmp_path, "segv")).details
    assert "Segmentation fault" in details
    assert "in read_hull" in details
    assert str(Path(__file__).parents[1]) not in details


@linux
@pytest.mark.parametrize("deed", ["bomb", "native-bomb", "unlimited-bomb"])
def test_memory_is_bounded(host: Host, tmp_path: Path, deed: str, monkeypatch) -> None:
    monkeypatch.setattr(native_host, "GROWN_BYTES", 1 << 28)
    options = ReadOptions(max_seconds=20.0, max_memory_bytes=300 << 20)
    error = refused(host, hull(tmp_path, deed), options)
    assert error.what == "reading it takes more than the 300 MB that a file of its size may take"
    assert "read_megabytes" in error.mend
    assert host.read(hull(tmp_path, "still"), ROOMY).clips


def test_small_files_may_take_little_memory() -> None:
    allowed = ReadOptions(max_memory_bytes=4 << 30).memory_for
    assert allowed(0) == 768 << 20
    assert allowed(10 << 20) == (768 + 640) << 20
    assert allowed(1 << 30) == 4 << 30


@posix
@pytest.mark.parametrize("deed", ["print", "threads"])
def test_prints_and_threads_do_no_harm(host: Host, tmp_path: Path, deed: str, capfd) -> None:
    for _ in range(2):
        assert host.read(hull(tmp_path, deed), ReadOptions(max_seconds=10.0)).clips[0].frames == 3
    assert capfd.readouterr() == ("", "")


@posix
def test_a_process_that_an_earlier_file_broke_is_not_held_against_the_next(
    host: Host, tmp_path: Path
) -> None:
    host.read(hull(tmp_path, "mark"), ROOMY)
    first = pid_of(host)
    assert host.read(hull(tmp_path, "after-mark"), ROOMY).clips
    assert pid_of(host) != first


def test_a_child_that_died_between_files_is_replaced(host: Host, tmp_path: Path) -> None:
    host.read(hull(tmp_path, "still"), ROOMY)
    assert host._child is not None
    host._child.process.kill()
    assert host.read(hull(tmp_path, "still"), ROOMY).clips


def test_a_child_serves_so_many_files_and_grows_so_far(tmp_path: Path, monkeypatch) -> None:
    host = Host("hull", "hull_format:read_hull")
    monkeypatch.setattr(native_host, "FILES_A_CHILD", 3)
    pids = []
    for _ in range(6):
        host.read(hull(tmp_path, "still"), ROOMY)
        pids += [pid_of(host)] if host._child else []
    assert len(pids) == 4
    assert pids[0] == pids[1] != pids[2] == pids[3]
    monkeypatch.setattr(native_host, "GROWN_BYTES", -1 << 40)
    host.read(hull(tmp_path, "still"), ROOMY)
    assert host._child is None


def test_an_answer_above_the_limits_is_refused_whatever_the_reader_says(
    host: Host, tmp_path: Path
) -> None:
    error = refused(host, hull(tmp_path, "still", "50"), ReadOptions(max_frames=20))
    assert "a clip has 50 frames, more than the 20 allowed" in error.what


@pytest.mark.parametrize("target", ["hull_format:absent", "no_such_module:read", "os:_exit"])
def test_a_reader_that_cannot_be_loaded_is_told_for_each_file(tmp_path: Path, target: str) -> None:
    host = Host("hull", target)
    for _ in range(2):
        assert "the HULL " in refused(host, hull(tmp_path, "still")).what
    host.close()


def test_a_library_that_crashes_as_it_is_loaded(tmp_path: Path, monkeypatch) -> None:
    (tmp_path / "sunk.py").write_text("import os\nos.abort()\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    error = refused(Host("hull", "sunk:read"), hull(tmp_path, "still"))
    assert error.what.startswith("the process that reads HULL does not start")


def test_a_system_without_room_for_another_process(tmp_path: Path, monkeypatch) -> None:
    def full(*_, **__):
        raise BlockingIOError(11, "Resource temporarily unavailable")

    monkeypatch.setattr(subprocess, "Popen", full)
    error = refused(Host("hull", "hull_format:read_hull"), hull(tmp_path, "still"))
    assert error.what == "the process that reads HULL does not start (status 11)"
    assert "Resource temporarily unavailable" in error.details


def test_start_up_files_that_print_do_no_harm(tmp_path: Path, monkeypatch) -> None:
    (tmp_path / "usercustomize.py").write_text("print('good morning')\n")
    (tmp_path / "sitecustomize.py").write_text("print('good evening')\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    host = Host("hull", "hull_format:read_hull")
    assert host.read(hull(tmp_path, "still"), ROOMY).clips
    host.close()


def test_a_current_folder_brings_no_modules(tmp_path: Path, monkeypatch) -> None:
    (tmp_path / "json.py").write_text("raise SystemExit(9)\n")
    monkeypatch.chdir(tmp_path)
    host = Host("hull", "hull_format:read_hull")
    hull(tmp_path, "still")
    assert host.read(Path("夜 fähre.hull"), ROOMY).clips
    host.close()


def test_several_threads_may_read(host: Host, tmp_path: Path) -> None:
    paths = []
    for number in range(8):
        paths.append(tmp_path / f"{number}.hull")
        paths[-1].write_text(f"HULL still {number + 1}")
    frames: dict[int, int] = {}

    def work(number: int) -> None:
        for _ in range(5):
            frames[number] = host.read(paths[number], ROOMY).clips[0].frames

    threads = [threading.Thread(target=work, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert frames == {number: number + 1 for number in range(8)}


def test_without_what_it_needs_it_says_what_to_install(tmp_path: Path) -> None:
    for extra, installs in (
        ("hull", "kinelint[hull]"),
        ("ferry[hull]", "ferry[hull]"),
        ("", "keel"),
    ):
        reader = hull_format.reader(needs="keel", extra=extra)
        assert not reader.installed
        with pytest.raises(AssetError) as caught:
            reader.read(hull(tmp_path, "still"), ROOMY)
        assert caught.value.what == "reading HULL needs keel, which is not installed"
        assert caught.value.mend == f'Install it: pip install "{installs}".'


FORKED = """
import os, sys
sys.path.insert(0, {tests!r})
from pathlib import Path
from kinelint.readers.native_host import host_of
from kinelint.readers.options import ReadOptions
def read():
    host = host_of("hull", "hull_format:read_hull")
    assert host.read(Path({file!r}), ReadOptions()).clips
    return host._child.process.pid
first = read()
pid = os.fork()
if pid == 0:
    ours = read()
    assert ours not in (first, os.getpid())
    from kinelint.readers import native_host
    native_host.close_all()
    os._exit(0)
assert os.waitpid(pid, 0)[1] == 0
assert read() == first
"""


@posix
def test_a_forked_process_has_children_of_its_own(tmp_path: Path) -> None:
    code = FORKED.format(tests=str(Path(__file__).parents[1]), file=str(hull(tmp_path, "still")))
    words = [sys.executable, "-W", "error", "-W", "ignore::DeprecationWarning", "-c", code]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_details_hold_no_folders(tmp_path: Path) -> None:
    said = 'File "/home/jo smith/tree/hull.py", line 3 in read\nsee C:\\tree\\deck\\a.hull\n'
    assert native_told.short_words(said) == 'File "tree/hull.py", line 3 in read\nsee deck\\a.hull'


@posix
def test_one_that_the_system_ends_is_told_so(host: Host, tmp_path: Path) -> None:
    assert "ended from outside" in refused(host, hull(tmp_path, "kill")).what


PARENT = """
import sys, time
sys.path.insert(0, {tests!r})
from pathlib import Path
from kinelint.readers.native_host import host_of
from kinelint.readers.options import ReadOptions
host = host_of("hull", "hull_format:read_hull")
host.read(Path({first!r}), ReadOptions())
print(host._child.process.pid, flush=True)
host.read(Path({second!r}), ReadOptions(max_seconds=1.0))
time.sleep(600)
"""


def _gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    # Where nobody collects the dead, they stay listed.
    state = subprocess.run(["ps", "-o", "stat=", "-p", str(pid)], capture_output=True, check=False)
    return state.stdout.strip()[:1] in (b"", b"Z")


@posix
@pytest.mark.parametrize("deed", ["still", "loop", "hold"])
def test_no_child_outlives_its_parent(tmp_path: Path, deed: str) -> None:
    first, second = tmp_path / "a.hull", tmp_path / "b.hull"
    first.write_text("HULL still")
    second.write_text(f"HULL {deed}")
    code = PARENT.format(tests=str(Path(__file__).parents[1]), first=str(first), second=str(second))
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE) as parent:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        time.sleep(0.3)
        assert not _gone(pid)
        parent.send_signal(signal.SIGKILL)
    # One that holds all threads of Python ends with its time limit and some grace.
    until = time.monotonic() + (6.0 if deed == "hold" else 3.0)
    while not _gone(pid) and time.monotonic() < until:
        time.sleep(0.05)
    assert _gone(pid)


@posix
def test_an_interrupt_ends_the_child_at_once(tmp_path: Path) -> None:
    first, second = tmp_path / "a.hull", tmp_path / "b.hull"
    first.write_text("HULL still")
    second.write_text("HULL nap 30")
    code = PARENT.replace("max_seconds=1.0", "max_seconds=60.0")
    code = code.format(tests=str(Path(__file__).parents[1]), first=str(first), second=str(second))
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    ) as parent:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        time.sleep(0.3)
        parent.send_signal(signal.SIGINT)
        parent.wait(5)
    assert _gone(pid)
