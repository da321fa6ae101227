"""Operating states. Outside check: single linkage of scipy cuts at the same gaps; laws: each record once, none too wide."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.cluster.hierarchy import fcluster, linkage

from gearcase.errors import OutOfRange
from gearcase.judge.operating import Operating, operating_states


@pytest.mark.parametrize("seed", range(5))
def test_gaps_are_cut_as_single_linkage_does(seed: int) -> None:
    rng = np.random.default_rng(seed)
    load = np.concatenate([rng.normal(middle, 0.01, 60) for middle in (0.2, 0.5, 0.75)])
    by_scipy = fcluster(linkage(load[:, None], "single"), 0.1, "distance")
    states = operating_states(None, load, records=len(load))
    assert len(states) == 3
    for _, belongs in states:
        assert len(set(by_scipy[belongs])) == 1 and belongs.sum() == 60


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.floats(1.0, 60.0), st.floats(0.0, 1.2)), min_size=1, max_size=80), st.booleans(), st.booleans())
def test_each_record_is_in_one_state_which_is_no_wider_than_it_may_be_and_knows_it(
    rows: list[tuple[float, float]], by_speed: bool, by_load: bool
) -> None:
    speed, load = (np.array(column) for column in zip(*rows, strict=True))
    states = operating_states(speed if by_speed else None, load if by_load else None, records=len(rows))
    assert np.all(sum(belongs.astype(int) for _, belongs in states) == 1)
    for state, belongs in states:
        for here in np.flatnonzero(belongs):
            assert state.holds(speed_hz=float(speed[here]), load=float(load[here]))
        if state.speed_hz is not None:
            assert state.speed_hz[1] / state.speed_hz[0] <= 1.2 + 1e-9
        if state.load is not None:
            assert state.load[1] - state.load[0] <= 0.2 + 1e-9
    assert (states[0][0].speed_hz is None) is not by_speed


def test_a_converter_that_is_moved_all_the_time_is_cut_into_equal_parts() -> None:
    speed = np.linspace(10.0, 25.0, 1501)
    states = operating_states(speed, None, records=len(speed))
    ratios = sorted(state.speed_hz[1] / state.speed_hz[0] for state, _ in states if state.speed_hz)
    assert len(states) == 6 and ratios[0] == pytest.approx(ratios[-1], rel=0.01)  # ln 2.5 / ln 1.2 = 5.03


def test_the_commonest_state_comes_first_and_what_nobody_read_belongs_to_none() -> None:
    states = operating_states([10.0, 20.0, 20.0, np.nan], None, records=4)
    assert [state.says for state, _ in states] == ["1200 rpm", "600 rpm"]
    assert [belongs.tolist() for _, belongs in states] == [[False, True, True, False], [True, False, False, False]]
    everything = operating_states(None, None, records=3)
    assert everything[0][0] == Operating(None, None) and everything[0][0].says == "" and everything[0][1].all()
    assert Operating(None, None).holds(speed_hz=None, load=None)


def test_wrong_columns_are_refused() -> None:
    with pytest.raises(OutOfRange, match="as many as there are records"):
        operating_states([1.0], None, records=2)
    with pytest.raises(OutOfRange, match="above 0"):
        operating_states([0.0], None, records=1)
