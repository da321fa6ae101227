"""A PostgreSQL of the tests' own, in a folder of theirs, or on a disk that fills up or loses its supply; missing programs are an
error, not a skip, and so is a disk that may not be mounted: that wants root.

A lost supply is played below the file system. The server's files lie in a file system of their own on a loop device; what the
system holds back in memory has not reached the file behind that device. All processes of the server are stopped, that file is
copied, the server killed, and the copy put in its place: it holds what was synced, and of what was not, whatever the system
happened to have written. (A disk that lies about its syncs is not played.)
"""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import sqlalchemy as sa

__all__ = ["LoopDisk", "Server", "running", "small_disk"]


class Server:
    """A server that can be stopped hard and started again."""

    def __init__(self, folder: Path, *, log_folder: Path | None = None) -> None:
        self.folder, self._log_folder = folder, log_folder
        (newest,) = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: float(path.parent.name))[-1:]
        self._programs = newest
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self._made = 0
        self.settings: tuple[str, ...] = ()  # more of them, as NAME=VALUE

    def run(self, program: str, *arguments: str) -> None:
        """One of its programs, as the user postgres where root runs the tests: the server refuses root."""
        user = {"user": "postgres", "group": "postgres", "extra_groups": []} if os.geteuid() == 0 else {}
        command = [str(self._programs / program), "-D", str(self.folder / "data"), *arguments]
        subprocess.run(command, check=True, cwd=self.folder, stdout=subprocess.DEVNULL, timeout=120, **user)  # type: ignore[call-overload]

    def make(self) -> None:
        """Its files."""
        if os.geteuid() == 0:
            owner = pwd.getpwnam("postgres")
            for folder in filter(None, (self.folder, self._log_folder)):
                os.chown(folder, owner.pw_uid, owner.pw_gid)
        apart = [f"--waldir={self._log_folder / 'log'}"] if self._log_folder else []
        self.run(
            "initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync", "--wal-segsize=1", *apart
        )

    def start(self) -> None:
        """Start it, and wait until it answers."""
        if not self.processes:  # the number it left may stand for a process that is dead and not yet reaped, or for another
            (self.folder / "data" / "postmaster.pid").unlink(missing_ok=True)
        options = f"-c port={self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories='' -c shared_buffers=64MB"
        options += " -c dynamic_shared_memory_type=mmap"  # in its folder: a killed server leaves nothing elsewhere
        options += "".join(f" -c {one}" for one in self.settings)
        self.run("pg_ctl", "-w", "-l", str(self.folder / "log"), "-o", options, "start")

    def stop(self, how: str) -> None:
        """Stop it: ``fast``, or ``immediate``, which leaves it to recover as from a lost supply."""
        self.run("pg_ctl", "-w", "-m", how, "stop")

    @property
    def processes(self) -> list[int]:
        """Its own, and those it has started; none where it is down."""
        found, parents = [], {}
        for status in Path("/proc").glob("[0-9]*/stat"):
            with suppress(OSError):
                state, parent = status.read_text().rpartition(")")[2].split()[:2]
                if state != "Z":
                    parents[int(status.parent.name)] = int(parent)
        with suppress(OSError):
            found = [int((self.folder / "data" / "postmaster.pid").read_text().partition("\n")[0])]
        return [*(one for one, parent in parents.items() if parent in found), *(one for one in found if one in parents)]

    def signal(self, number: signal.Signals) -> None:
        """To every process of it."""
        for one in self.processes:
            with suppress(ProcessLookupError):
                os.kill(one, number)

    def kill(self) -> None:
        """Kill every process of it with kill -9, stopped first so that none sees another die."""
        self.signal(signal.SIGSTOP)
        while self.processes:
            self.signal(signal.SIGKILL)
            time.sleep(0.02)

    def address(self, database: str) -> str:
        """Of one of its databases."""
        return f"postgresql://postgres@127.0.0.1:{self.port}/{database}"

    def database(self) -> str:
        """Address of a new, empty database."""
        self._made += 1
        engine = sa.create_engine(self.address("postgres"), isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.exec_driver_sql(f"CREATE DATABASE store_{self._made}")
        engine.dispose()
        return self.address(f"store_{self._made}")


@contextmanager
def running(folder: Path, *, log_folder: Path | None = None) -> Iterator[Server]:
    """A server for a while, its write-ahead log elsewhere where a folder for it is given; it and its files are gone afterwards."""
    server = Server(folder, log_folder=log_folder)
    server.make()
    server.start()
    try:
        yield server
    finally:
        server.kill()
        for one in filter(None, (folder, log_folder)):
            shutil.rmtree(one, ignore_errors=True)


@contextmanager
def small_disk(folder: Path, mebibytes: int) -> Iterator[None]:
    """A folder with no more room than this."""
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={mebibytes}m", "tmpfs", folder], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", folder], check=True)


class LoopDisk:
    """A folder that lies on a disk of its own, a file behind a loop device, which can lose its supply."""

    def __init__(self, folder: Path, image: Path) -> None:
        self.folder, self.image = folder, image
        with image.open("wb") as made:
            made.truncate(300 * 2**20)
        subprocess.run(["mkfs.ext4", "-q", "-F", image], check=True)
        self._mount()

    def lose_supply(self, server: Server) -> None:
        """As above; the server is down afterwards."""
        server.signal(signal.SIGSTOP)
        left = self.image.with_suffix(".left")
        subprocess.run(["cp", "--sparse=always", self.image, left], check=True)
        server.kill()
        self.leave()
        left.replace(self.image)
        self._mount()

    def sync(self) -> None:
        """Write out what the system holds back."""
        subprocess.run(["sync", "--file-system", self.folder], check=True)

    def leave(self) -> None:
        """Take it out of the folder."""
        subprocess.run(["umount", self.folder], check=True)

    def _mount(self) -> None:
        # the system's own writing is put off, so that what is not synced is lost
        subprocess.run(["mount", "-o", "loop,commit=600", self.image, self.folder], check=True)
