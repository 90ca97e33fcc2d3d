"""Whole processes, measured from outside: CPU seconds and peak memory of every child.

Reads a JSON list of rounds to do from stdin and writes JSON to stdout; see :func:`run`. It is a program
of its own because Linux counts the peak memory of whoever starts a process as that process's: this
one stays as small as a bare Python.
"""

import json
import os
import shutil
import sys


def run(command: list[str], clean: str, env: dict[str, str]) -> tuple[float, float]:
    """Run one command to its end, silently.

    Parameters
    ----------
    command
        Full path and arguments.
    clean
        A folder to remove before the clock starts, or ``""``.
    env
        Its whole environment.

    Returns
    -------
    cpu
        User and system time of the process and its threads, s.
    peak
        Greatest resident size, MB.
    """
    if clean:
        shutil.rmtree(clean, ignore_errors=True)
    silent = [
        (os.POSIX_SPAWN_OPEN, fd, os.devnull, os.O_RDWR, 0o600)  # neither waits for a reader
        for fd in (0, 1, 2)
    ]
    pid = os.posix_spawn(command[0], command, env, file_actions=silent)
    _, status, used = os.wait4(pid, 0)
    if status:
        sys.exit(f"{' '.join(command)}: exit {os.waitstatus_to_exitcode(status)}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss * 1024 / 1e6


def main() -> None:
    """Run every job of ``{"env": ..., "rounds": n, "jobs": {name: [command, clean, most]}}``.

    Jobs take turns within a round, so that a busy spell of the machine falls on all of them. One
    that is to run ``most`` times at most drops out afterwards. A first round is not counted for jobs
    that run more than once: it fills the caches.
    """
    ask = json.load(sys.stdin)
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in ask["jobs"]}
    for turn in range(-1, ask["rounds"]):
        for name, (command, clean, most) in ask["jobs"].items():
            if most == 1 and turn < 0:
                continue
            if len(found[name]) < most:
                measured = run(command, clean, ask["env"])
                if turn >= 0:
                    found[name].append(measured)
    json.dump(found, sys.stdout)


if __name__ == "__main__":
    main()
