"""The README's picture, from the demo's own results: `make picture`."""

import io
import sys
from pathlib import Path

from PIL import Image

from gearcase.checksums import sha256_of_data
from gearcase.drawings.report import handover_pages
from gearcase.job.build import load
from gearcase.record import results
from gearcase.stages import handover

PAGES = (0, 1, 3)
GAP = 16


def main() -> None:
    """Lay three pages side by side."""
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
    target = Path(__file__).parents[1] / "docs" / "handover.png"
    target.parent.mkdir(exist_ok=True)
    sheet.quantize(64).save(target, optimize=True)
    print(target.name, sheet.size, target.stat().st_size)


if __name__ == "__main__":
    main()
