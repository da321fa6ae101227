"""What a live device's words tell of its register map: which word comes first, and by how much the map is shifted.

The maps themselves and their coding stand in `install.profile`, so that a job can be checked without any device.
"""

import math
from collections.abc import Sequence

from gearcase.errors import OutOfRange
from gearcase.install.profile import (
    CONSTANTS,
    LAMPS,
    ORDERS,
    Profile,
    Register,
    WordOrder,
    decode,
    encode,
    profile,
    profile_names,
)

__all__ = [
    "CONSTANTS",
    "LAMPS",
    "RECORD_REGISTERS",
    "Profile",
    "Register",
    "WordOrder",
    "decode",
    "encode",
    "find_word_order",
    "profile",
    "profile_names",
]

RECORD_REGISTERS = profile("three-axis vibration").waveforms["record"].first.address


def find_word_order(profile: Profile, words: Sequence[int]) -> tuple[WordOrder | None, int]:
    """Which word comes first, and by how many registers the map is shifted, told from the profile's constants.

    Parameters
    ----------
    profile : Profile
    words : sequence of int
        The device's registers from 0 on, two more than the constants take.

    Returns
    -------
    order, shift
        Order None where no order and no shift of one makes all constants right. A shift of 1 means that every value stands
        one register later than the profile says: the device's sheet counts registers from 1.
    """
    constants = profile.with_role("constant")
    for shift in (0, 1, -1):
        for order in ORDERS:
            if constants and all(_holds(one, words, shift, order) for one in constants):
                return order, shift
    return None, 0


def _holds(register: Register, words: Sequence[int], shift: int, order: WordOrder) -> bool:
    start = register.address + shift
    if start < 0:  # shifted forward, the first constant fell off the front
        return True
    given = words[start : start + register.words]
    if len(given) != register.words or register.constant is None:
        return False
    try:
        return math.isclose(decode(register, given, order), register.constant, rel_tol=1e-6)
    except OutOfRange:
        return False
