"""A PostgreSQL of the tests' own, in a folder of theirs; missing programs are an error, not a skip."""

import os
import pwd
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy as sa

__all__ = ["Server", "running"]


class Server:
    """A server that can be stopped hard and started again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (newest,) = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: float(path.parent.name))[-1:]
        self._programs = newest
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self._made = 0

    def run(self, program: str, *arguments: str) -> None:
        """One of its programs, as the user postgres where root runs the tests: the server refuses root."""
        user = {"user": "postgres", "group": "postgres", "extra_groups": []} if os.geteuid() == 0 else {}
        command = [str(self._programs / program), "-D", str(self.folder / "data"), *arguments]
        subprocess.run(command, check=True, cwd=self.folder, stdout=subprocess.DEVNULL, timeout=120, **user)  # type: ignore[call-overload]

    def make(self) -> None:
        """Its files."""
        if os.geteuid() == 0:
            owner = pwd.getpwnam("postgres")
            os.chown(self.folder, owner.pw_uid, owner.pw_gid)
        self.run("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")

    def start(self) -> None:
        """Start it, and wait until it answers."""
        options = f"-c port={self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories='' -c shared_buffers=64MB"
        self.run("pg_ctl", "-w", "-l", str(self.folder / "log"), "-o", options, "start")

    def stop(self, how: str) -> None:
        """Stop it: ``fast``, or ``immediate``, which leaves it to recover as from a lost supply."""
        self.run("pg_ctl", "-w", "-m", how, "stop")

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
def running(folder: Path) -> Iterator[Server]:
    """A server for a while; it and its files are gone afterwards."""
    server = Server(folder)
    server.make()
    server.start()
    try:
        yield server
    finally:
        server.stop("immediate")
        shutil.rmtree(folder, ignore_errors=True)
