"""The pictures of README and docs, from the demo's own results and an invented life: `make picture`."""

import io
import sys
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from gearcase.checksums import sha256_of_data
from gearcase.drawings.recording_plots import Judged, plot
from gearcase.drawings.report import handover_pages
from gearcase.drawings.svg import Sheet
from gearcase.drawings.trend_plot import Ahead, trend_sheet
from gearcase.drawings.typeset import sheet_png
from gearcase.job.build import load
from gearcase.judge.forecast import forecast
from gearcase.record import results
from gearcase.stages import handover

DOCS = Path(__file__).parents[1] / "docs"
PAGES = (0, 1, 6)
GAP = 16
DAY, BEGIN = 86400.0, 1772323200.0  # 1 March 2026


def main() -> None:
    """Three pages of the handover side by side; a few plots."""
    folder = Path(sys.argv[1])
    earlier = {}
    for stage in handover.GATHERED:
        stored = results.latest(folder, stage)
        assert stored is not None, f"run make demo first: no {stage}"
        earlier[stage] = handover.Earlier(stored.number, stored.document, stored.arrays(), ())
    _, content = handover.run(load(folder), earlier, who="demo", date="2026-09-08", number=1, checksum=sha256_of_data)
    pages = [Image.open(io.BytesIO(page)) for page in handover_pages(content, dots_per_inch=62)]
    chosen = [pages[number] for number in PAGES]
    width = sum(page.width for page in chosen) + GAP * (len(chosen) + 1)
    sheet = Image.new("RGB", (width, chosen[0].height + 2 * GAP), "#C9C6BD")
    x = GAP
    for page in chosen:
        sheet.paste(page.convert("RGB"), (x, GAP))
        x += page.width + GAP
    keep("handover", sheet, colours=96)
    diagnose = earlier["diagnose"]
    number = max(int(name.rpartition("-")[2]) for name in diagnose.arrays if name.startswith("orders-"))
    for kind in ("envelope", "tooth-circle"):
        found = plot(kind, Judged(content.survey, diagnose.document, diagnose.arrays, number))
        assert found is not None
        keep_plot(f"plot-{kind}", found.sheet)
    keep_plot("plot-trend", life())


def life() -> Sheet:
    """The life that `judge.forecast` has for its example."""
    day = np.arange(60.0)
    time, level = BEGIN + DAY * day, (1 + 0.1 * np.exp(day / 20)) * np.random.default_rng(1).lognormal(0, 0.05, 60)
    said = forecast(time, level, limit=4.0, kind="spall", maturity=2, epochs=[], seed=1)
    return trend_sheet(
        time,
        level,
        y_label="acceleration, m/s²",
        limits={"yellow": 2.5, "danger": 4.0},
        epochs=[(BEGIN + 4 * DAY, "oil changed")],
        ahead=Ahead(said.says, 4.0, said.inspect_by_s, said.look, said.earliest_s, said.middle_s, said.latest_s),
    )


def keep_plot(name: str, sheet: Sheet) -> None:
    keep(name, Image.open(io.BytesIO(sheet_png(sheet, name, times=1.25))).convert("RGB"), colours=48)


def keep(name: str, picture: Any, *, colours: int) -> None:
    target = DOCS / f"{name}.png"
    picture.quantize(colours, method=Image.Quantize.MAXCOVERAGE).save(target, optimize=True)  # keeps the rare ones: accent, states
    print(target.name, picture.size, target.stat().st_size)


if __name__ == "__main__":
    main()
