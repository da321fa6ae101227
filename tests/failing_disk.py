"""A disk that can be watched, filled up, and lose its supply, under SQLite and under our own files.

SQLite writes through a table of functions, its VFS. This one passes everything on to the system's own and notes each write, sync
and truncation; Python's sqlite3 finds it because both use the one libsqlite3 of the machine. Our own files are noted by taking the
place of `os.write`, `os.fsync` and `os.replace`.

A lost supply keeps what was synced. Of what was written since, any sector may have reached the disk and any other not, in any
order: `Disk.after_loss` draws one of these outcomes. What a sector of 512 bytes holds is old or new, not torn. SQLite syncs the
folder with the first sync of a journal or log (seen by strace): until then a name may be missing, or a removed one still be there.
"""

import ctypes
import errno
import os
import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from ctypes import CFUNCTYPE, POINTER, Structure, c_char_p, c_int, c_int64, c_void_p, cast, sizeof
from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["Disk", "watched"]

_SECTOR = 512
_FULL, _IO_ERROR_OF_SYNC = 13, 10 | (4 << 8)  # result codes of <sqlite.org/rescode.html> (from memory)
_OPEN = CFUNCTYPE(c_int, c_void_p, c_void_p, c_void_p, c_int, c_void_p)
_WRITE = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)
_TRUNCATE = CFUNCTYPE(c_int, c_void_p, c_int64)
_SYNC = CFUNCTYPE(c_int, c_void_p, c_int)
_DELETE = CFUNCTYPE(c_int, c_void_p, c_char_p, c_int)


class _Methods(Structure):  # sqlite3_io_methods, version 3
    _names = (
        "close read write truncate sync size lock unlock reserved control sector characteristics map shm barrier unmap fetch give"
    )
    _fields_ = [("version", c_int), *((name, c_void_p) for name in _names.split())]


class _System(Structure):  # sqlite3_vfs, version 3
    _fields_ = [
        *(("version", c_int), ("size", c_int), ("longest", c_int), ("next", c_void_p), ("name", c_char_p), ("data", c_void_p)),
        *(
            (name, c_void_p)
            for name in [
                "open",
                "delete",
                "access",
                "full",
                "dlopen",
                "dlerror",
                "dlsym",
                "dlclose",
                "randomness",
                "sleep",
                "time",
                "error",
            ]
        ),
        *((name, c_void_p) for name in ["time64", "set", "get", "following"]),
    ]


@dataclass
class Disk:
    """What was done to the files below a folder, in order: ``(what, path, offset or None, bytes or None)``."""

    folder: Path
    done: list[tuple[str, str, int, bytes]] = field(default_factory=list)
    writes_left: int = -1  # until the disk is full; below 0 it never is
    sync_fails: bool = False

    def note(self, what: str, path: str, offset: int = 0, data: bytes = b"") -> None:
        """Note something; the test notes what was acknowledged."""
        if what == "acknowledged" or path.startswith(str(self.folder)):
            self.done.append((what, path, offset, data))

    def full(self) -> bool:
        """Whether this write finds no room."""
        if self.writes_left > 0:
            self.writes_left -= 1
        return self.writes_left == 0

    def after_loss(self, at: int, chance: random.Random, into: Path) -> set[str]:
        """Make the files as a supply lost after so many doings may leave them, below another folder. What was acknowledged."""
        files: dict[str, _File] = {}
        renamed: list[tuple[str, str]] = []
        acknowledged = set()
        for what, path, offset, data in self.done[:at]:
            if what == "acknowledged":
                acknowledged.add(path)
            elif what == "delete":
                files.setdefault(path, _File()).removed = True
            elif what == "rename":
                renamed.append((path, data.decode()))
            elif what == "sync folder":
                for old, new in [one for one in renamed if str(Path(one[1]).parent) == path]:
                    files[new] = files.pop(old)
                    renamed.remove((old, new))
            else:
                if path in files and files[path].removed:
                    files[path] = _File()  # made again under its name
                one = files.setdefault(path, _File())
                if what == "sync" and one.safe is None and path.endswith(("-journal", "-wal")):
                    files = {name: other for name, other in files.items() if not other.removed}
                one.do(what, offset, data)
        for old, new in renamed:
            if chance.random() < 0.5:
                files[new] = files.pop(old)
        for path, one in files.items():
            content = one.after_loss(chance)
            if content is not None:
                place = into / Path(path).relative_to(self.folder)
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_bytes(content)
        return acknowledged


class _File:
    def __init__(self) -> None:
        self.safe: bytearray | None = None
        self.since: list[tuple[str, int, bytes]] = []
        self.removed = False

    def do(self, what: str, offset: int, data: bytes) -> None:
        self.since.append((what, offset, data))
        if what == "sync":
            self.safe = self._apply(lambda: True)
            self.since.clear()

    def after_loss(self, chance: random.Random) -> bytes | None:
        if (self.safe is None or self.removed) and chance.random() < 0.5:
            return None  # not even its name was on the disk, or no longer
        kept = chance.choice((0.0, 0.1, 0.5, 0.9, 1.0))
        return bytes(self._apply(lambda: chance.random() < kept))

    def _apply(self, reached: Callable[[], bool]) -> bytearray:
        content = bytearray(self.safe or b"")
        for what, offset, data in self.since:
            if what == "truncate" and reached():
                del content[offset:]
            for start in range(0, len(data) if what == "write" else 0, _SECTOR):
                if reached():
                    piece = data[start : start + _SECTOR]
                    content.extend(bytes(max(offset + start + len(piece) - len(content), 0)))
                    content[offset + start : offset + start + len(piece)] = piece
        return content


@contextmanager
def watched(folder: Path) -> Iterator[Disk]:
    """Note what is done to files below a folder, for a while."""
    disk = Disk(folder.resolve())
    with _sqlite(disk), _files(disk):
        yield disk


@contextmanager
def _sqlite(disk: Disk) -> Iterator[None]:
    library = ctypes.CDLL("libsqlite3.so.0")
    library.sqlite3_vfs_find.restype = c_void_p
    library.sqlite3_vfs_find.argtypes = [c_char_p]
    library.sqlite3_vfs_register.argtypes = [c_void_p, c_int]
    library.sqlite3_vfs_unregister.argtypes = [c_void_p]
    system = cast(library.sqlite3_vfs_find(None), POINTER(_System)).contents
    ours = _System.from_buffer_copy(bytes((ctypes.c_char * sizeof(_System)).from_address(ctypes.addressof(system))))
    ours.name = b"watched"
    opened, kept = {}, []  # file -> its path; what must outlive the calls
    made: dict[int, int] = {}  # address of the system's methods -> of ours

    def methods_for(address: int) -> int:
        if address in made:
            return made[address]
        theirs = _Methods.from_address(address)
        mine = _Methods.from_buffer_copy(bytes((ctypes.c_char * sizeof(_Methods)).from_address(address)))
        write, truncate, sync = cast(theirs.write, _WRITE), cast(theirs.truncate, _TRUNCATE), cast(theirs.sync, _SYNC)

        def on_write(file: int, data: int, count: int, offset: int) -> int:
            if disk.full():
                return _FULL
            disk.note("write", opened[file], offset, ctypes.string_at(data, count))
            return int(write(file, data, count, offset))

        def on_truncate(file: int, size: int) -> int:
            disk.note("truncate", opened[file], size)
            return int(truncate(file, size))

        def on_sync(file: int, flags: int) -> int:
            if disk.sync_fails:
                return _IO_ERROR_OF_SYNC
            disk.note("sync", opened[file])
            return int(sync(file, flags))

        calls = (_WRITE(on_write), _TRUNCATE(on_truncate), _SYNC(on_sync))
        mine.write, mine.truncate, mine.sync = (cast(call, c_void_p) for call in calls)
        kept.extend((*calls, mine))
        made[address] = ctypes.addressof(mine)
        return made[address]

    open_theirs, delete_theirs = cast(system.open, _OPEN), cast(system.delete, _DELETE)

    def on_open(vfs: int, name: int | None, file: int, flags: int, out: int) -> int:
        result = int(open_theirs(vfs, name, file, flags, out))
        methods = c_void_p.from_address(file)
        if result == 0 and methods.value:
            opened[file] = ctypes.string_at(name).decode() if name else ""
            methods.value = methods_for(methods.value)
        return result

    def on_delete(vfs: int, name: bytes, flags: int) -> int:
        disk.note("delete", name.decode())
        return int(delete_theirs(vfs, name, flags))

    calls = (_OPEN(on_open), _DELETE(on_delete))
    ours.open, ours.delete = (cast(call, c_void_p) for call in calls)
    library.sqlite3_vfs_register(ctypes.addressof(ours), 1)
    try:
        yield
    finally:
        library.sqlite3_vfs_unregister(ctypes.addressof(ours))
        library.sqlite3_vfs_register(ctypes.addressof(system), 1)
        _still_in_use.extend((calls, kept, ours))  # a connection somebody forgot may call them yet


_still_in_use: list[object] = []


@contextmanager
def _files(disk: Disk) -> Iterator[None]:
    write, sync, replace = os.write, os.fsync, os.replace
    ends: dict[str, int] = {}

    def on_write(handle: int, data: bytes) -> int:
        path = os.readlink(f"/proc/self/fd/{handle}")
        if path.startswith(str(disk.folder)):
            if disk.full():
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            data = bytes(data)[:1000]  # as a disk may: less than was asked
            disk.note("write", path, ends.get(path, 0), data)
            ends[path] = ends.get(path, 0) + len(data)
        return write(handle, data)

    def on_sync(handle: int) -> None:
        path = os.readlink(f"/proc/self/fd/{handle}")
        disk.note("sync folder" if os.path.isdir(path) else "sync", path)
        sync(handle)

    def on_replace(old: str, new: str) -> None:
        disk.note("rename", str(old), 0, str(new).encode())
        replace(old, new)

    os.write, os.fsync, os.replace = on_write, on_sync, on_replace  # type: ignore[assignment]
    try:
        yield
    finally:
        os.write, os.fsync, os.replace = write, sync, replace
