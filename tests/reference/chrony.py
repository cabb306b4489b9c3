"""`chronyd`, asked to look at a server once and to set nothing."""

import asyncio
import shutil
from pathlib import Path

EXIT_S = 60


async def ask_once(
    port: int, folder: Path, *, options: str = "", give_up_s: int
) -> tuple[int, str]:
    """Let chronyd ask a server on loopback; its exit code and what it said."""
    found = shutil.which("chronyd") or "/usr/sbin/chronyd"
    assert Path(found).exists(), "chronyd is missing: run 'make system'"
    server = f"server 127.0.0.1 port {port} iburst minpoll -2 maxpoll -2 {options}"
    process = await asyncio.create_subprocess_exec(
        found, "-U", "-Q", "-t", str(give_up_s), server, "cmdport 0", f"pidfile {folder / 'pid'}",
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
