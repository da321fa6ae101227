"""How good a link was, kept over time: counts add up, limits are the exact binomial ones, torn lines cost one spell."""

import json
import time
from collections import Counter
from pathlib import Path

import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from gearcase.cli import main
from gearcase.device.link_quality import LinkQuality
from gearcase.errors import BadInput
from gearcase.record import links
from gearcase.record.links import Spell, spells
from test_stages import EXAMPLES


@pytest.mark.parametrize(("asked", "errors"), [(3000, 0), (1000, 2), (50, 50), (200, 73)])
def test_limits_are_those_of_the_exact_binomial(asked: int, errors: int) -> None:
    """Clopper and Pearson, one-sided at 95 %, by scipy's own binomial test inverted: `proportion_ci` of both sides at 90 %."""
    link = LinkQuality(asked, Counter(silent=errors))
    both = scipy.stats.binomtest(errors, asked).proportion_ci(0.90, method="exact")
    assert link.error_limit == pytest.approx(both.high, rel=1e-6) and link.least_errors == pytest.approx(both.low, abs=1e-9)


@given(st.lists(st.floats(1e-4, 10.0), min_size=1, max_size=60), st.sampled_from([0.5, 0.95, 0.99]))
def test_percentiles_are_at_most_a_step_too_long(seconds: list[float], share: float) -> None:
    link = LinkQuality()
    for one in seconds:
        link.answered(one)
    exact = sorted(seconds)[max(-(-round(share * 1000) * len(seconds) // 1000) - 1, 0)]
    found = link.within(share)
    assert found is not None and exact * (1 - 1e-6) <= found <= exact * 10 ** (1 / 20) * (1 + 1e-6)


def test_spells_add_up_whatever_lay_between(tmp_path: Path) -> None:
    first, second = (
        LinkQuality(10, Counter(silent=1), 2, Counter({3: 9})),
        LinkQuality(5, Counter(garbled=2), 0, Counter({3: 1, 7: 2})),
    )
    links.keep(tmp_path, [Spell("vibration input", 0.0, 3600.0, first.as_dict())])
    path = next((tmp_path / "results" / "links").iterdir())
    with path.open("ab") as stream:
        stream.write(b'{"device": "vibration in')  # the power went
    links.keep(tmp_path, [Spell("vibration input", 3600.0, 7200.0, second.as_dict())])
    whole = LinkQuality()
    for one in spells(tmp_path):
        whole.add(LinkQuality.from_dict(one.counts))
    assert (whole.asked, whole.failed, whole.strays) == (15, {"silent": 1, "garbled": 2}, 2) and whole.took == {3: 10, 7: 2}
    with path.open("ab") as stream:
        stream.write(b'{"another": "line"}\n')
    with pytest.raises(BadInput, match=r"jsonl:\d+"):
        spells(tmp_path)


def test_a_link_that_got_worse_is_said_and_calls_for_somebody(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.yaml").write_bytes((EXAMPLES / "demo" / "job.yaml").read_bytes())
    now = time.time()
    good, bad = LinkQuality(100_000, took=Counter({30: 100_000})), LinkQuality(5000, Counter(garbled=40), 0, Counter({30: 4960}))
    links.keep(tmp_path, [Spell("vibration input", 0.0, now - 90 * 86400, good.as_dict())])
    assert main(["links", str(tmp_path)]) == 0
    links.keep(tmp_path, [Spell("vibration input", 0.0, now, bad.as_dict())])
    capsys.readouterr()
    assert main(["links", str(tmp_path), "--json"]) == 1
    rows = {row["device"]: row for row in json.loads(capsys.readouterr().out)["devices"]}
    assert (
        rows["vibration input"]["worse"]
        and "40 of 5000 frames failed (40 garbled): at most 1.0" in rows["vibration input"]["lately"]
    )
    assert rows["stack light"] == {"device": "stack light", "lately": "never asked", "before": "never asked", "worse": False}
