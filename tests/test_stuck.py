"""A sensor that answers and does not measure: found by its own past, and by figures of a running drive after it has stopped."""

import asyncio

import numpy as np
import pytest

from gearcase.device.orders import obey
from gearcase.monitor.stuck import Stuck
from gearcase.record.store import Reading
from gearcase.stages.minutes import OVERALL, TEMPERATURE
from test_watch import Site, site

__all__ = ["site"]


@pytest.mark.long
def test_a_sensor_that_answers_and_does_not_measure_is_blue_said_and_stays_so_through_a_restart(site: Site) -> None:
    """Of the rig a third of the polls bring new figures here (a record lives 45 s): 30 are overdue after 90, half an hour."""
    site.settled()
    site.turns(75)
    assert site.watch.light.colour == "green"
    obey(site.rig, "fault stuck at 12")
    frozen = site.now
    while not site.said("sensor stuck") and site.now < frozen + 3600:
        site.turns(1)
    assert 1500 < site.now - frozen < 2700 and len(site.said("sensor stuck")) == 1
    site.turns(3)
    assert site.watch.light.colour == "blue" and any("lost or bad" in row.get("lost", "") for row in site.watch.conditions())
    assert site.watch.published()["intermediate left/overall velocity"].quality == "bad"
    site.new_watch()
    asyncio.run(site.watch.begin(""))
    site.turns(6)
    assert site.watch.light.colour == "blue"
    obey(site.rig, "mend stuck at 12")
    site.turns(9)
    assert len(site.said("sensor moves")) == 1 and len(site.said("sensor stuck")) == 1 and site.watch.light.colour == "green"


def test_the_figures_of_a_running_drive_long_after_it_has_stopped_are_stuck() -> None:
    stuck, figures = Stuck(), [Reading(0.0, "top", OVERALL, 2.3e-3, "m/s"), Reading(0.0, "top", TEMPERATURE, 320.0, "K")]
    for poll in range(100):
        believed, said = stuck.believe(figures, running=poll < 10, ticks=20.0 * poll)
        assert [one.quality for one in believed] == (["bad", "bad"] if poll >= 39 else ["good", "good"]), poll
        assert bool(said) == (poll == 39)
    still = [Reading(0.0, "top", OVERALL, 0.0, "m/s")]
    standing = Stuck()
    assert not any(standing.believe(still, running=False, ticks=20.0 * poll)[1] for poll in range(1000)), "it stands, and says so"


def test_a_quiet_drive_whose_last_digit_seldom_moves_is_not_stuck() -> None:
    """One poll in forty moves the last digit, at random over two days; then it drops to a level at which none does."""
    stuck, chance, level = Stuck(), np.random.default_rng(7), 0.05e-3
    for poll in range(17280):
        if chance.random() < 1 / 40:
            level = 0.09e-3 - level
        shown = 0.01e-3 if poll > 15000 else level
        assert not stuck.believe([Reading(0.0, "top", OVERALL, shown, "m/s")], running=True, ticks=10.0 * poll)[1], poll
