"""A set of files put into a folder whole or not at all.

All content is there before the first byte is written. Then, inside the target folder:

1. everything is written to ``.boxjoint-XXXXXXXX.part/new/`` and flushed to the disk: a full disk
   shows here, when nothing of the user's has been touched;
2. an empty file ``complete`` says that the set is whole;
3. each earlier file gets a second name (a hard link, or a copy) in ``old/``, and the new one takes
   its place in one step, so that at no moment a name is missing or half written;
4. the ``.part`` folder is removed.

A failure in 1 to 3 puts the earlier files back and takes the new ones away. A kill leaves the
``.part`` folder. The next run finds it, unless its owner is still alive (it holds a lock, which ends
with its process): if ``complete`` is there, what is left in ``new/`` is put in its place, else what
is in ``old/`` is put back, so that no mixture of two runs lasts. Then the folder is removed.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path, PurePosixPath
from typing import IO

from boxjoint.errors import FileProblem

__all__ = ["PREFIX", "SUFFIX", "write_whole"]

#: Names of the folders that a write in progress, or one that was killed, leaves in the target.
PREFIX, SUFFIX = ".boxjoint-", ".part"

# A .part folder without a lock is younger than this while its owner makes the lock, s.
_SETTLED_S = 60.0

_DO = {
    errno.ENOSPC: "free some room on the disk, or choose a folder on another one",
    errno.EDQUOT: "free some of your quota, or choose another folder",
    errno.EACCES: "choose a folder that you may write to",
    errno.EPERM: "choose a folder that you may write to",
    errno.EROFS: "choose a folder that can be written to",
    errno.ENOTDIR: "choose another folder, or move the file of that name away",
    errno.EISDIR: "choose another folder, or move the folder of that name away",
    errno.ENAMETOOLONG: "choose a shorter name",
}
_DO_ELSE = "check the folder and the disk, or choose another folder"


def write_whole(content: Mapping[str, bytes], out: Path) -> tuple[Path, ...]:
    """Write all files of a set into a folder, or none of them.

    Parameters
    ----------
    content
        Bytes by path relative to ``out``, with ``/`` between its parts.
    out
        The folder; it and folders below it are made where they are missing.

    Returns
    -------
    tuple of Path
        What was written, in the sequence of ``content``.

    Raises
    ------
    FileProblem
        A folder or file cannot be made, written or replaced. Earlier files are as they were, and
        nothing of this run is left. Names the path, the reason and what to do.
    ValueError
        A path is absolute, leads out of the folder or is both a file and a folder.
    """
    _check_paths(content)
    made: list[Path] = []
    at = out
    stage: _Stage | None = None
    try:
        _make_folder(out, made)
        _finish_stale(out)
        stage = _Stage(out)
        for name, data in content.items():
            at = out / name
            stage.write(name, data)
        stage.complete()
        for name in content:
            at = out / name
            _make_folder(at.parent, made)
            stage.put(name)
    except BaseException as error:
        kept = stage.undo() if stage is not None else None
        for folder in reversed(made):
            with contextlib.suppress(OSError):
                folder.rmdir()
        if isinstance(error, OSError):
            raise _problem(at, error, kept) from error
        raise
    stage.remove()
    return tuple(out / name for name in content)


def _check_paths(content: Mapping[str, bytes]) -> None:
    """Refuse paths that a caller must not ask for: these are mistakes of a program, not of a user."""
    files = {PurePosixPath(name) for name in content}
    if len(files) < len(content):
        raise ValueError("two paths of the set are the same")
    for name in content:
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts or not path.parts or "\\" in name:
            raise ValueError(f"not a path below the folder: {name!r}")
        if not files.isdisjoint(path.parents):
            raise ValueError(f"part of the path is a file of the same set: {name!r}")


class _Stage:
    """The ``.part`` folder of one write."""

    def __init__(self, out: Path) -> None:
        self.out = out
        self.folder = Path(tempfile.mkdtemp(prefix=PREFIX, suffix=SUFFIX, dir=out))
        try:
            self.lock: IO[bytes] = (self.folder / "lock").open("wb")
        except OSError:
            self.folder.rmdir()
            raise
        _take(self.lock)
        self.names: list[str] = []

    def write(self, name: str, data: bytes) -> None:
        """Write one new file and wait until it is on the disk (0.2 ms a file where measured)."""
        path = self.folder / "new" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())

    def complete(self) -> None:
        """Say that the set is whole."""
        (self.folder / "complete").touch()

    def put(self, name: str) -> None:
        """Let one new file take the place of the earlier one, which is kept."""
        target, kept = self.out / name, self.folder / "old" / name
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(target))
        if target.exists() or target.is_symlink():
            kept.parent.mkdir(parents=True, exist_ok=True)
            try:
                os.link(target, kept, follow_symlinks=False)
            except (OSError, NotImplementedError):  # a file system without hard links
                # under another name first, so that a half copy never passes for an earlier file
                copy = self.folder / "copy"
                shutil.copy2(target, copy, follow_symlinks=False)
                copy.replace(kept)
        self.names.append(name)
        (self.folder / "new" / name).replace(target)

    def undo(self) -> Path | None:
        """Put the earlier files back, take the new ones away, and remove the folder.

        Returns
        -------
        Path or None
            A folder with the earlier files, where one of them could not be put back.
        """
        lost = False
        # from here on a kill must make the next run put back, not put in place
        with contextlib.suppress(OSError):
            (self.folder / "complete").unlink(missing_ok=True)
        for name in reversed(self.names):
            target, kept = self.out / name, self.folder / "old" / name
            try:
                if (self.folder / "new" / name).exists():
                    continue  # it never took its place
                if kept.exists() or kept.is_symlink():
                    kept.replace(target)
                else:
                    target.unlink(missing_ok=True)
            except OSError:
                lost = True
        if not lost:
            self.remove()
            return None
        self.lock.close()
        # under a name that no later run removes
        rescued = self.folder.with_suffix(".earlier")
        with contextlib.suppress(OSError):
            return self.folder.rename(rescued)
        return self.folder

    def remove(self) -> None:
        """Remove the folder."""
        self.lock.close()
        shutil.rmtree(self.folder, ignore_errors=True)


def _finish_stale(out: Path) -> None:
    """End what a killed run left in the folder; leave alone what a living one is writing."""
    for folder in sorted(out.glob(f"{PREFIX}*{SUFFIX}")):
        if folder.is_symlink() or not folder.is_dir():
            continue
        with _claimed(folder) as claimed:
            if not claimed:
                continue
            source = folder / ("new" if (folder / "complete").exists() else "old")
            for path in sorted(p for p in source.rglob("*") if p.is_file() or p.is_symlink()):
                target = out / path.relative_to(source)
                target.parent.mkdir(parents=True, exist_ok=True)
                path.replace(target)
        shutil.rmtree(folder, ignore_errors=True)


@contextlib.contextmanager
def _claimed(folder: Path) -> Iterator[bool]:
    """Hold the lock of a ``.part`` folder; False when its owner, or another run, holds it."""
    try:
        lock = (folder / "lock").open("r+b")
    except FileNotFoundError:
        yield time.time() - folder.stat().st_mtime > _SETTLED_S
        return
    except OSError:
        yield False
        return
    with lock:
        yield _take(lock)


def _take(lock: IO[bytes]) -> bool:
    """Lock a file for as long as this process keeps it open; False when that cannot be done."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(lock.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _make_folder(folder: Path, made: list[Path]) -> None:
    """Make a folder with those above it, and add each one made to the list."""
    missing = [folder, *folder.parents]
    for path in reversed([p for p in missing if not p.exists()]):
        with contextlib.suppress(FileExistsError):  # another run was faster
            path.mkdir()
            made.append(path)
    if not folder.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder))


def _problem(at: Path, error: OSError, kept: Path | None) -> FileProblem:
    """What a user reads: the path, the system's reason, what to do."""
    # in the way is what the system names; else the user's own path says more than a temporary one
    in_the_way = error.errno in (errno.ENOTDIR, errno.EISDIR) and error.filename is not None
    reason = (error.strerror or str(error)).lower()
    state = f"the earlier files are in {kept}" if kept else "nothing was changed"
    return FileProblem(
        f"cannot be written, {reason}; {state}",
        where=str(error.filename if in_the_way else at),
        do=_DO.get(error.errno or 0, _DO_ELSE),
        errno=error.errno,
    )
