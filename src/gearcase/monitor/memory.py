"""Memory that a record or a diagnosis wanted goes back to the system, not kept for the next: a watch runs for years.

Names and numbers are those of mallopt(3) of the GNU C library; another library is left as it is.
"""

import ctypes
import os
from contextlib import suppress

__all__ = ["give_back"]

_TRIM_THRESHOLD, _ARENA_MAX = -1, -8
_FREE_AT_THE_TOP = 1_000_000  # bytes


def give_back() -> None:
    """Set it for this process, before the libraries that take memory are loaded."""
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")  # its own pool keeps what it had
    with suppress(OSError, AttributeError):
        library = ctypes.CDLL(None)
        library.mallopt(_ARENA_MAX, 1)  # else each thread keeps a heap of its own
        library.mallopt(_TRIM_THRESHOLD, _FREE_AT_THE_TOP)
