"""Sets of files: whole or not at all, whatever happens on the way."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from boxjoint.errors import FileProblem
from boxjoint.export import files
from boxjoint.export.files import PREFIX, SUFFIX, write_whole

OLD = {"panels/front.dxf": b"old front", "panels/left.dxf": b"old left", "report.json": b"{}"}
NEW = {
    "panels/front.dxf": b"new front",
    "panels/back.dxf": b"new back",
    "panels/left.dxf": b"new left",
    "deep/er/box.step": b"new box",
    "report.json": b'{"new": 1}',
}


def found(out: Path) -> dict[str, bytes]:
    """Every file below a folder, those of a write in progress too."""
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in sorted(out.rglob("*"))
        if path.is_file()
    }


def folders(out: Path) -> set[str]:
    return {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_dir()}


@pytest.fixture
def out(tmp_path: Path) -> Path:
    """A folder with earlier output, and a file that is none of ours."""
    folder = tmp_path / "out"
    write_whole(OLD, folder)
    (folder / "my notes.txt").write_bytes(b"mine")
    return folder


EARLIER = OLD | {"my notes.txt": b"mine"}
AFTER = OLD | NEW | {"my notes.txt": b"mine"}


def failing_at(
    monkeypatch: pytest.MonkeyPatch, name: str, calls: set[int], error: BaseException
) -> None:
    """Let some calls of an ``os`` function fail, counted from 1."""
    real: Callable[..., Any] = getattr(os, name)
    count = 0

    def perhaps(*args: Any, **kwargs: Any) -> Any:
        nonlocal count
        count += 1
        if count in calls:
            raise error
        return real(*args, **kwargs)

    monkeypatch.setattr(os, name, perhaps)


def test_a_set_is_written_and_nothing_else_is_left(tmp_path: Path) -> None:
    out = tmp_path / "not" / "there" / "yet"
    assert write_whole(NEW, out) == tuple(out / name for name in NEW)
    assert found(out) == NEW
    assert folders(out) == {"panels", "deep", "deep/er"}


def test_earlier_files_are_replaced_and_others_left_alone(out: Path) -> None:
    write_whole(NEW, out)
    assert found(out) == AFTER
    write_whole({}, out)
    assert found(out) == AFTER


def test_new_files_have_the_usual_rights(tmp_path: Path) -> None:
    (tmp_path / "plain").write_bytes(b"")
    (path,) = write_whole({"a/b.txt": b"x"}, tmp_path)
    assert path.stat().st_mode == (tmp_path / "plain").stat().st_mode


@pytest.mark.parametrize("call", [1, 3, 5])
def test_a_full_disk_changes_nothing(out: Path, monkeypatch: pytest.MonkeyPatch, call: int) -> None:
    full = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    failing_at(monkeypatch, "fsync", {call}, full)
    with pytest.raises(FileProblem) as caught:
        write_whole(NEW, out)
    message = str(caught.value)
    assert str(out / list(NEW)[call - 1]) in message
    assert "no space left on device; nothing was changed" in message
    assert "Free some room on the disk" in message
    assert caught.value.exit_code == 2
    assert caught.value.data["errno"] == errno.ENOSPC
    assert found(out) == EARLIER
    assert folders(out) == {"panels"}


@pytest.mark.parametrize("call", range(1, len(NEW) + 1))
def test_a_name_that_cannot_be_taken_puts_all_back(
    out: Path, monkeypatch: pytest.MonkeyPatch, call: int
) -> None:
    failing_at(monkeypatch, "replace", {call}, PermissionError(errno.EACCES, "Permission denied"))
    with pytest.raises(FileProblem, match="permission denied; nothing was changed") as caught:
        write_whole(NEW, out)
    assert str(out / list(NEW)[call - 1]) in str(caught.value)
    assert found(out) == EARLIER
    assert folders(out) == {"panels"}


def test_a_failed_run_takes_away_the_folders_it_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing_at(monkeypatch, "replace", {4}, OSError(errno.EIO, "Input/output error"))
    with pytest.raises(FileProblem, match="input/output error"):
        write_whole(NEW, tmp_path / "a" / "b")
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_put_back_is_kept_and_named(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # the third file cannot take its place, and the first cannot be put back
    failing_at(monkeypatch, "replace", {3, 4}, OSError(errno.EIO, "Input/output error"))
    with pytest.raises(FileProblem, match="the earlier files are in") as caught:
        write_whole(NEW, out)
    (kept,) = [path for path in out.iterdir() if path.name.startswith(PREFIX)]
    assert str(kept) in str(caught.value)
    monkeypatch.undo()
    write_whole({"other": b""}, out)  # no later run may take it away
    assert (kept / "old" / "panels" / "front.dxf").read_bytes() == b"old front"


def test_file_systems_without_hard_links_and_locks(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import fcntl

    failing_at(monkeypatch, "link", set(range(1, 99)), OSError(errno.EPERM, "not permitted"))

    def no_locks(*_: Any) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(fcntl, "flock", no_locks)
    # the calls are: copy 1, place 1, place 2, copy 3, place 3
    failing_at(monkeypatch, "replace", {5}, OSError(errno.EIO, "Input/output error"))
    with pytest.raises(FileProblem):
        write_whole(NEW, out)
    assert found(out) == EARLIER
    monkeypatch.undo()
    failing_at(monkeypatch, "link", set(range(1, 99)), OSError(errno.EPERM, "not permitted"))
    write_whole(NEW, out)
    assert found(out) == AFTER


def test_an_interruption_passes_on_after_all_is_put_back(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing_at(monkeypatch, "replace", {3}, KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt):
        write_whole(NEW, out)
    assert found(out) == EARLIER


# what stands in the way; not by rights, because tests may run as root


def test_the_folder_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(b"mine")
    with pytest.raises(FileProblem, match="not a directory; nothing was changed") as caught:
        write_whole(NEW, tmp_path / "out")
    assert str(tmp_path / "out") in str(caught.value)
    assert "Choose another folder" in str(caught.value)
    assert found(tmp_path) == {"out": b"mine"}


def test_a_folder_above_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"mine")
    with pytest.raises(FileProblem, match="not a directory"):
        write_whole(NEW, tmp_path / "a" / "b" / "c")
    assert found(tmp_path) == {"a": b"mine"}


def test_a_file_stands_where_a_folder_must_be(tmp_path: Path) -> None:
    (tmp_path / "panels").write_bytes(b"mine")
    with pytest.raises(FileProblem, match="not a directory") as caught:
        write_whole({"report.json": b"x"} | NEW, tmp_path)
    assert str(caught.value).startswith(str(tmp_path / "panels") + ":")
    assert found(tmp_path) == {"panels": b"mine"}


def test_a_folder_stands_where_a_file_must_be(tmp_path: Path) -> None:
    (tmp_path / "report.json").mkdir()
    with pytest.raises(FileProblem, match="is a directory") as caught:
        write_whole(NEW, tmp_path)
    assert str(caught.value).startswith(str(tmp_path / "report.json") + ":")
    assert found(tmp_path) == {}
    assert folders(tmp_path) == {"report.json"}


def test_a_link_is_replaced_and_put_back_as_a_link(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (tmp_path / "elsewhere").write_bytes(b"mine")
    (out / "a").symlink_to(tmp_path / "elsewhere")
    failing_at(monkeypatch, "replace", {2}, OSError(errno.EIO, "Input/output error"))
    with pytest.raises(FileProblem):
        write_whole({"a": b"new", "b": b"new"}, out)
    assert (out / "a").is_symlink()
    monkeypatch.undo()
    write_whole({"a": b"new", "b": b"new"}, out)
    assert not (out / "a").is_symlink()
    assert (tmp_path / "elsewhere").read_bytes() == b"mine"


@pytest.mark.skipif(sys.platform != "linux", reason="/proc is Linux only")
def test_a_folder_that_nobody_may_write_to() -> None:
    # not even root makes folders in /proc
    with pytest.raises(FileProblem, match="nothing was changed"):
        write_whole(NEW, Path("/proc/boxjoint"))


@pytest.mark.parametrize(
    "names", [["/etc/x"], ["../x"], ["a/../../x"], [""], ["a\\b"], ["a", "a/b"], ["a/b", "a//b"]]
)
def test_paths_out_of_the_folder_are_a_programs_mistake(names: list[str], tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="path"):
        write_whole(dict.fromkeys(names, b""), tmp_path)
    assert list(tmp_path.iterdir()) == []


# the operating system's own limits and kills, in a process of its own


def run(code: str, out: Path) -> subprocess.CompletedProcess[str]:
    """Run a piece of code with ``out``, ``NEW`` and ``write_whole`` at hand."""
    head = f"""
        import os, signal, sys
        from pathlib import Path
        from boxjoint.export.files import write_whole
        out, NEW = Path({str(out)!r}), {NEW!r}

        def after(name, calls, then):
            real, count = getattr(os, name), 0
            def counted(*args, **kwargs):
                nonlocal count
                count += 1
                if count in calls:
                    then()
                return real(*args, **kwargs)
            setattr(os, name, counted)

        def kill():
            os.kill(os.getpid(), signal.SIGKILL)

        def fail():
            raise OSError(5, "Input/output error")
    """
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(head) + textwrap.dedent(code)],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[1],
        check=False,
    )


def leftovers(out: Path) -> list[Path]:
    return sorted(out.glob(f"{PREFIX}*{SUFFIX}"))


def own(out: Path) -> dict[str, bytes]:
    """Files that are not in a ``.part`` folder."""
    return {n: data for n, data in found(out).items() if not n.startswith(PREFIX)}


posix = pytest.mark.skipif(sys.platform == "win32", reason="signals and limits of POSIX")


@posix
def test_a_limit_of_the_system_on_the_size_of_files(out: Path) -> None:
    done = run(
        """
        import resource
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
        from boxjoint.errors import FileProblem
        try:
            write_whole(NEW | {"panels.dxf": bytes(5000)}, out)
        except FileProblem as problem:
            print(problem)
        """,
        out,
    )
    assert done.stderr == ""
    assert f"{out / 'panels.dxf'}: cannot be written, file too large" in done.stdout
    assert found(out) == EARLIER


@posix
@pytest.mark.parametrize("call", [1, 4])
def test_a_kill_while_writing_leaves_earlier_files_and_the_next_run_cleans_up(
    out: Path, call: int
) -> None:
    done = run(f"after('fsync', {{{call}}}, kill)\nwrite_whole(NEW, out)", out)
    assert done.returncode == -signal.SIGKILL
    assert own(out) == EARLIER
    assert len(leftovers(out)) == 1
    write_whole({"report.json": b"next"}, out)
    assert found(out) == EARLIER | {"report.json": b"next"}
    assert leftovers(out) == []


@posix
@pytest.mark.parametrize("call", range(1, len(NEW) + 1))
def test_a_kill_while_names_change_leaves_whole_files_and_the_next_run_ends_it(
    out: Path, call: int
) -> None:
    done = run(f"after('replace', {{{call}}}, kill)\nwrite_whole(NEW, out)", out)
    assert done.returncode == -signal.SIGKILL
    for name, data in own(out).items():
        assert data in (EARLIER.get(name), NEW.get(name))
    assert set(own(out)) >= set(EARLIER)
    write_whole({"other": b"next"}, out)
    assert found(out) == AFTER | {"other": b"next"}


@posix
def test_a_kill_while_putting_back_is_put_back_by_the_next_run(out: Path) -> None:
    # the fourth file cannot take its place; the kill comes before the third is put back
    done = run(
        "after('replace', {4}, fail)\nafter('replace', {5}, kill)\nwrite_whole(NEW, out)", out
    )
    assert done.returncode == -signal.SIGKILL
    write_whole({"other": b"next"}, out)
    assert {n: d for n, d in found(out).items() if n in EARLIER} == EARLIER
    assert leftovers(out) == []


@posix
def test_a_living_run_is_left_alone(out: Path) -> None:
    stage = files._Stage(out)
    stage.write("panels/front.dxf", b"still being written")
    write_whole({"other": b"next"}, out)
    assert leftovers(out) == [stage.folder]
    stage.complete()
    stage.put("panels/front.dxf")
    stage.remove()
    written = {"other": b"next", "panels/front.dxf": b"still being written"}
    assert found(out) == EARLIER | written


def test_a_folder_without_lock_is_left_alone_while_it_is_young(out: Path) -> None:
    young = out / f"{PREFIX}young{SUFFIX}"
    young.mkdir()
    write_whole({"other": b"next"}, out)
    assert young.is_dir()
    os.utime(young, (0, 0))
    write_whole({"other": b"next"}, out)
    assert not young.exists()


def test_only_our_own_leftovers_are_removed(out: Path) -> None:
    (out / "someone.part").mkdir()
    (out / f"{PREFIX}file{SUFFIX}").write_bytes(b"a file, not a folder")
    (out / f"{PREFIX}link{SUFFIX}").symlink_to(out / "someone.part")
    write_whole({"other": b"next"}, out)
    assert (out / "someone.part").is_dir()
    assert (out / f"{PREFIX}file{SUFFIX}").is_file()
    assert (out / f"{PREFIX}link{SUFFIX}").is_symlink()
