"""A change of level at matched state, against scipy, chance in noise, and the open gearbox whose broken tooth is quieter."""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from gearcase.errors import OutOfRange
from gearcase.judge.changed import LEAST_CHANGE_DB, Change, change, level
from gearcase.judge.odds import VERIFIED_FLOOR
from gearcase.judge.patterns.observed import Observed
from gearcase.signal.envelope import envelope_spectrum
from gearcase.signal.recording import Circumstances, Recording
from gearcase.signal.spectrum import transform
from gearcase.stages.level_changes import changed_rows, level_changes

LOADS = (0, 20, 40, 60, 80)


def compare(before: np.ndarray, now: np.ndarray, *, compared: int = 1) -> Change:
    return change(level(before), level(now), compared=compared)


def blocks_db(record: np.ndarray) -> np.ndarray:
    return 10 * np.log10(np.mean((record - record.mean()).reshape(16, -1) ** 2, axis=1))


def test_level_and_chance_are_those_of_a_general_library_where_blocks_are_independent() -> None:
    """scipy.stats.ttest_ind, equal_var=False (Welch 1947), on the same blocks; alternating blocks have no positive correlation."""
    rng = np.random.default_rng(3)
    shape = np.repeat(np.tile([1.0, 1.03], 8), 512)
    before, now = (scale * shape * rng.choice([-1.0, 1.0], 8192) for scale in (1.0, 1.01))
    told, reference = (
        compare(before, now),
        scipy.stats.ttest_ind(blocks_db(now), blocks_db(before), equal_var=False),
    )
    assert told.level_db == pytest.approx(np.mean(blocks_db(now)) - np.mean(blocks_db(before)), abs=1e-9)
    assert told.chance == pytest.approx(reference.pvalue, rel=1e-6)


@pytest.mark.parametrize("factor", [0.6, 1.7])
def test_higher_and_lower_are_both_a_change(factor: float) -> None:
    rng = np.random.default_rng(5)
    told = compare(rng.normal(size=16384), factor * rng.normal(size=16384), compared=20)
    assert told.changed and told.level_db == pytest.approx(20 * np.log10(factor), abs=0.3)
    assert ("lower is not better" in told.says) is (factor < 1)


def test_a_sure_difference_smaller_than_a_day_makes_is_no_change() -> None:
    rng = np.random.default_rng(6)
    told = compare(rng.normal(size=65536), 1.2 * rng.normal(size=65536))
    assert told.chance < 1e-6 and not told.changed and told.says.endswith("no change") and told.level_db < LEAST_CHANGE_DB


def test_a_level_that_wanders_slowly_is_given_less_certainty_than_its_blocks_would() -> None:
    """Blocks of a level that goes up once in a record are no sixteen witnesses."""
    rng = np.random.default_rng(7)
    wander = np.geomspace(0.5, 2.0, 16384)
    told = compare(wander * rng.normal(size=16384), 0.6 * wander * rng.normal(size=16384))
    plain = scipy.stats.ttest_ind(blocks_db(wander), blocks_db(0.6 * wander), equal_var=False).pvalue
    assert told.chance > plain and not told.changed


def test_noise_alone_speaks_no_oftener_than_stated() -> None:
    """Of 2,000 pairs of equal Gaussian records no more than 5 % have a chance under 0.05 (binomial)."""
    rng = np.random.default_rng(8)
    records = rng.normal(size=(4000, 4096))
    small = sum(compare(one, other).chance < 0.05 for one, other in zip(records[::2], records[1::2], strict=True))
    assert scipy.stats.binomtest(small, 2000, 0.05, alternative="greater").pvalue > 1e-3


@pytest.mark.parametrize(
    ("record", "says"),
    [
        (np.zeros(100), "at least 4096"),
        (np.zeros(8192), "moves throughout"),
        (np.full(8192, np.nan), "not finite"),
        (np.ones((2, 8192)), "one record"),
        (np.ones(8192, complex), "real numbers"),
    ],
    ids=["short", "still", "nan", "two", "complex"],
)
def test_what_cannot_be_compared_is_refused_with_what_would_be_right(record: np.ndarray, says: str) -> None:
    good = np.random.default_rng(9).normal(size=8192)
    with pytest.raises(OutOfRange, match=says):
        level(record)
    with pytest.raises(OutOfRange, match="1 or more"):
        compare(good, good, compared=0)


@pytest.mark.recordings
def test_the_open_gearbox_has_changed_at_every_load_and_only_where_its_readme_says(recordings: Path) -> None:
    """Healthy and broken tooth, 30 Hz, loads 0 to 80 %: a1 falls by 33 to 42 %, a2 to a4 move by under 10 % at like load."""
    folder, told = recordings / "gearbox_healthy_broken_30hz", {}
    for load in LOADS:
        healthy, broken = (np.load(folder / f"{state}30hz{load}.npz") for state in "hb")
        told |= {(load, name): compare(healthy[name], broken[name], compared=20) for name in ("a1", "a2", "a3", "a4")}
    assert {key for key, one in told.items() if one.changed} == {(load, "a1") for load in LOADS}
    assert all(-4.8 < told[load, "a1"].level_db < -3.0 for load in LOADS)


def seen(samples: np.ndarray, *, load: float | None, name: str, speed_hz: float = 25.0) -> Observed:
    taken = Circumstances("horizontal", "steady", load)
    recording = Recording(samples, 25600.0, "m/s2", point="input", name=name, taken=taken)
    spectrum = transform(samples, sample_rate_hz=25600.0)
    return Observed(recording, spectrum, envelope_spectrum(spectrum), speed_hz, 0.001, quality=())


def test_only_records_of_one_state_are_compared_and_the_latest_with_the_first() -> None:
    rng = np.random.default_rng(11)
    noise = [rng.normal(size=8192) for _ in range(5)]
    records = [
        seen(noise[0], load=0.8, name="first"),
        seen(3 * noise[1], load=0.3, name="idle"),
        seen(3 * noise[2], load=None, name="nobody said"),
        seen(noise[3], load=0.8, name="second"),
        seen(0.6 * noise[4], load=0.85, name="third"),
    ]
    (row,) = level_changes(records)
    assert (row["recording"], row["since"], row["changed"]) == ("third", "first", True)
    assert row["level_db"] == pytest.approx(20 * np.log10(0.6), abs=0.5) and row["noise_false_alarm"] == VERIFIED_FLOOR
    (said,) = changed_rows([row])
    assert "lower is not better" in said and "first" in said
    assert level_changes(records[:3]) == [] and changed_rows(level_changes(records[:4])) == []


def test_a_record_too_short_for_a_level_is_left_out() -> None:
    rng = np.random.default_rng(12)
    assert level_changes([seen(rng.normal(size=size), load=0.8, name="n") for size in (8192, 2048)]) == []
