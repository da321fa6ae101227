"""What the rules of quality say of the open recordings, as docs/signal.md tells it: as it came, a regression, not a goal.

Whether bearing life recordings are aliased nobody has documented; the other sets have no known fault of recording.
"""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import scipy.io

from gearcase.signal.quality import judge_quality

pytestmark = pytest.mark.recordings
ASSUMED_HZ = 10000.0  # of the set whose rate is not documented


def channels(folder: Path) -> Iterator[tuple[np.ndarray, float]]:
    """Samples and rate of every channel of the bearing and gear sets."""
    for file in sorted(folder.glob("cwru_bearing/*.mat")):
        yield from ((x, 12000.0) for name, x in scipy.io.loadmat(file).items() if name.endswith("_time"))
    for file in sorted(folder.glob("mfpt_bearing/*.mat")):
        record = scipy.io.loadmat(file, simplify_cells=True)["bearing"]
        yield record["gs"], float(record["sr"])
    for file in sorted(folder.glob("gear_pair_rig_2000rpm/*.mat")):
        record = scipy.io.loadmat(file, simplify_cells=True)
        yield record["Data1"], float(record["SampFreq"])
    for file in sorted(folder.glob("gearbox_healthy_broken_30hz/*.npz")):
        with np.load(file) as held:
            yield from ((held[name], ASSUMED_HZ) for name in held.files)


def rules(samples: np.ndarray, rate_hz: float) -> list[str]:
    found = judge_quality(np.ravel(samples).astype(np.float32), sample_rate_hz=rate_hz, unit="m/s2")
    return [finding.rule for finding in found]


def test_no_channel_of_the_bearing_and_gear_sets_is_flagged(recordings: Path) -> None:
    said = [rules(samples, rate) for samples, rate in channels(recordings)]
    assert (len(said), sum(map(bool, said))) == (61, 0)


def test_bearing_lives_are_short_and_one_is_raised_up_to_half_its_rate(recordings: Path) -> None:
    count: Counter[tuple[str, str]] = Counter()
    for file in sorted(recordings.glob("pronostia_bearing_life/*.npz")):
        with np.load(file) as held:
            for axis in ("h_g", "v_g"):
                count.update((file.name[:10], rule) for record in held[axis] for rule in rules(record, float(held["fs"])))
    one, other = "Bearing1_7", "Bearing2_6"
    assert count == {(one, "quality.short"): 450, (other, "quality.short"): 140, (one, "quality.aliasing"): 145}
