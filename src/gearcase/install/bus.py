"""Serial bus timing: how long one reading takes, a round of all devices, and a waveform fetched through registers.

Modbus over Serial Line V1.02: 11 bits a character whatever the parity; a silence of 3.5 characters after each frame, fixed at
1.75 ms above 19,200 baud. A read of N registers asks with 8 bytes and answers with 5 + 2N.
"""

import scipy.special

from gearcase.errors import OutOfRange
from gearcase.worked import worked_by

__all__ = [
    "MOST_REGISTERS",
    "character_time",
    "error_rate_limit",
    "record_interval",
    "silence_after_frame",
    "transaction_time",
    "waveform_time",
]

MOST_REGISTERS = 125  # in one read, MODBUS Application Protocol V1.1b3
_BITS, _FIXED_ABOVE, _FIXED_SILENCE = 11, 19200, 1.75e-3
RECORDS_SHARE = 0.5  # of the bus's time: readings, light and controller share it; common practice, no source
_SPECIFICATION = "Modbus over Serial Line V1.02, section 2.5.1"


@worked_by(formula="t = 11 / baud", unit="s", source=_SPECIFICATION)
def character_time(*, baud: float) -> float:
    """Time of one character. [s]

    Raises
    ------
    OutOfRange
        Baud not above 0.
    """
    if baud <= 0:
        raise OutOfRange("baud", baud, "above 0")
    return _BITS / baud


@worked_by(formula="3.5 characters, 1.75 ms above 19,200 baud", unit="s", source=_SPECIFICATION)
def silence_after_frame(*, baud: float) -> float:
    """Silence that ends a frame. [s]"""
    return _FIXED_SILENCE if baud > _FIXED_ABOVE else 3.5 * character_time(baud=baud)


@worked_by(
    formula="t = (8 + 5 + 2 N) characters + 2 silences + device delay",
    unit="s",
    source="MODBUS Application Protocol V1.1b3 frames, Modbus over Serial Line V1.02 timing",
)
def transaction_time(*, baud: float, registers: float, device_delay: float) -> float:
    """Time to read so many registers of one device. [s]

    Raises
    ------
    OutOfRange
        Registers not 1 to 125, or a negative delay.

    Examples
    --------
    Row MT1a of ``modbus_checks.csv``:

    >>> transaction_time(baud=19200, registers=10, device_delay=0.0)
    0.0229167
    """
    if not 1 <= registers <= MOST_REGISTERS:
        raise OutOfRange("registers", registers, f"1 to {MOST_REGISTERS} in one read")
    if device_delay < 0:
        raise OutOfRange("device_delay", device_delay, "0 s or more")
    return (13 + 2 * registers) * character_time(baud=baud) + 2 * silence_after_frame(baud=baud) + device_delay


@worked_by(
    formula="t = whole reads of 125 registers + one read of the rest, a register a sample",
    unit="s",
    source="MODBUS Application Protocol V1.1b3 frames, Modbus over Serial Line V1.02 timing; 16-bit samples assumed",
)
def waveform_time(*, baud: float, samples: float, device_delay: float) -> float:
    """Time to fetch one axis of a record, each sample in a register of its own. [s]

    Raises
    ------
    OutOfRange
        No samples, or as `transaction_time`.

    Examples
    --------
    2^16 samples at 19,200 baud take 525 reads; the sum by hand is 137,897 characters of 11 bits and 1050 silences:

    >>> waveform_time(baud=19200, samples=65536, device_delay=0.0)
    81.1089
    """
    if samples < 1:
        raise OutOfRange("samples", samples, "1 or more")
    whole, rest = divmod(int(samples), MOST_REGISTERS)
    time = whole * transaction_time(baud=baud, registers=MOST_REGISTERS, device_delay=device_delay)
    return time + transaction_time(baud=baud, registers=rest, device_delay=device_delay) if rest else time


@worked_by(formula="T = t_records / 0.5", unit="s", source="half the bus's time for records: common practice, no source")
def record_interval(*, records_s: float) -> float:
    """Shortest time from one set of records to the next when fetching them may fill half of the bus. [s]

    Examples
    --------
    >>> record_interval(records_s=900.0)
    1800.0
    """
    return records_s / RECORDS_SHARE


@worked_by(
    formula="upper limit p with P(at most so many errors in so many polls) = 5 %",
    unit="-",
    source="C. J. Clopper and E. S. Pearson 1934, Biometrika 26, one-sided (from memory)",
)
def error_rate_limit(*, polls: float, errors: float) -> float:
    """Share of polls that may fail, at 95 % confidence, after so many failed of so many. [-]

    Raises
    ------
    OutOfRange
        Not 0 <= errors <= polls, or no polls.

    Examples
    --------
    The rule of three: without an error in 3000 polls the share lies below 3 / 3000.

    >>> error_rate_limit(polls=3000, errors=0)
    0.000998
    """
    if polls < 1 or not 0 <= errors <= polls:
        raise OutOfRange("errors", errors, f"0 to {polls} polls, of which there must be one or more")
    return 1.0 if errors == polls else float(scipy.special.betaincinv(errors + 1, polls - errors, 0.95))
