"""Is a record long, and sampled fast, enough for what is wanted of it?"""

from gearcase.findings import Finding, Level
from gearcase.signal.quality.facts import LEAST_FOR_A_FLOOR, Facts

__all__ = ["bandwidth", "short", "turns"]

_SHORT_BLOCK = 1024  # a local noise floor needs many bins; common practice, no source
_TURNS_BLOCK, _TURNS_CAUTION = 5.0, 20.0  # common practice, no source
_BAND = 2.56  # sample rate over the highest frequency a record is good for, usual in the trade (analyser anti-alias filters)


def short(facts: Facts) -> Finding | None:
    if facts.samples.size >= LEAST_FOR_A_FLOOR:
        return None
    says = f"{facts.samples.size} samples give too few lines for a noise floor; record at least {LEAST_FOR_A_FLOOR}."
    level = Level.BLOCKER if facts.samples.size < _SHORT_BLOCK else Level.CAUTION
    return Finding(level, "quality.short", "whole record", says)


def turns(facts: Facts) -> Finding | None:
    """Lines one order apart lie as many bins apart as the record has turns; a Hann window needs a few for each."""
    if facts.turns is None or facts.turns >= _TURNS_CAUTION:
        return None
    seconds = facts.samples.size / facts.rate
    says = (
        f"The slowest shaft turns {facts.turns:.3g} times in {seconds:.3g} s; record at least "
        f"{seconds * _TURNS_CAUTION / max(facts.turns, 1e-9):.3g} s for {_TURNS_CAUTION:g} turns."
    )
    level = Level.BLOCKER if facts.turns < _TURNS_BLOCK else Level.CAUTION
    return Finding(level, "quality.turns", "whole record", says)


def bandwidth(facts: Facts) -> Finding | None:
    """Above the sample rate / 2.56 the record is in the slope of the anti-alias filter."""
    good_to = facts.rate / _BAND
    if facts.highest_wanted is None or facts.highest_wanted <= good_to:
        return None
    says = (
        f"The record is good to {good_to:.4g} Hz and {facts.highest_wanted:.4g} Hz is wanted; "
        f"sample at {_BAND * facts.highest_wanted:.4g} Hz or more."
    )
    return Finding(Level.CAUTION, "quality.bandwidth", "whole record", says)
