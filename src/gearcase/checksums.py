"""One way to say that two things are the same: SHA-256 of bytes, or of plain data written canonically."""

import hashlib
import json
from typing import Any

__all__ = ["sha256_of_bytes", "sha256_of_data"]


def sha256_of_bytes(content: bytes) -> str:
    """Hexadecimal digest."""
    return hashlib.sha256(content).hexdigest()


def sha256_of_data(data: Any) -> str:
    """Digest of JSON-able data; the order of keys does not matter, that of lists does.

    Examples
    --------
    >>> sha256_of_data({"a": 1, "b": 2}) == sha256_of_data({"b": 2, "a": 1})
    True
    """
    return sha256_of_bytes(json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode())
