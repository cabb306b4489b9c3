"""`chronyd`, asked to look at a server once and to set nothing."""

import asyncio
import os
import shutil
from pathlib import Path

EXIT_S = 60
LOG = "measurements.log"
PEER_DELAY, PEER_DISPERSION = 12, 13
"""Columns of that log from 0, in s (chrony.conf(5), *log measurements*: the 13th and the 14th)."""


async def ask_once(
    port: int, folder: Path, *, options: str = "", give_up_s: int
) -> tuple[int, str]:
    """Let chronyd ask a server on loopback; its exit code and what it said."""
    found = shutil.which("chronyd") or "/usr/sbin/chronyd"
    assert Path(found).exists(), "chronyd is missing: run 'make system'"
    server = f"server 127.0.0.1 port {port} iburst minpoll -2 maxpoll -2 {options}"
    # Started by root it would become another user, who may not write its log here.
    user = ("-u", "root") if os.geteuid() == 0 else ()
    process = await asyncio.create_subprocess_exec(
        found, *user, "-U", "-Q", "-t", str(give_up_s), server, "cmdport 0",
        f"pidfile {folder / 'pid'}", f"logdir {folder}", "log measurements",
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT,
    )  # fmt: skip
    try:
        said, _ = await asyncio.wait_for(process.communicate(), EXIT_S)
    except TimeoutError:
        process.kill()
        await process.wait()
        raise
    assert process.returncode is not None
    return process.returncode, said.decode()


def root_distances_s(folder: Path) -> list[float]:
    """By how much each of its measurements may be off, as chronyd itself states.

    Half the delay and the dispersion (RFC 5905 §11.2; those of the server's own root are 0 here).
    """
    rows = [line.split() for line in (folder / LOG).read_text().splitlines()]
    return [
        float(row[PEER_DELAY]) / 2 + float(row[PEER_DISPERSION])
        for row in rows
        if row and row[0][0].isdigit()
    ]
