"""Copy the shipped fonts again from their npm packages, or check that they are what the packages hold.

For maintainers: needs npm. `python tools/vendor_fonts.py` copies and writes fonts.csv; `--check` compares what is there with
fonts.csv.
"""

import csv
import hashlib
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

FONTS = Path(__file__).parents[1] / "src" / "gearcase" / "drawings" / "fonts"
WANTED = {
    ("@expo-google-fonts/inter", "0.4.2"): ("400Regular/Inter_400Regular.ttf", "600SemiBold/Inter_600SemiBold.ttf"),
    ("@expo-google-fonts/inconsolata", "0.4.2"): ("400Regular/Inconsolata_400Regular.ttf",),
}
LICENCE = "LICENSE_FONT"


def main() -> int:
    """Copy or check."""
    if "--check" in sys.argv:
        return check()
    rows = []
    for (package, version), names in WANTED.items():
        home = FONTS / f"{package.rpartition('/')[2]}-{version}"
        home.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as folder:
            subprocess.run(["npm", "pack", "--silent", f"{package}@{version}"], cwd=folder, check=True)
            with tarfile.open(next(Path(folder).glob("*.tgz"))) as archive:
                for name in (*names, LICENCE):
                    member = archive.extractfile(f"package/{name}")
                    assert member is not None, name
                    content = member.read()
                    target = home / name.rpartition("/")[2]
                    target.write_bytes(content)
                    path = str(target.relative_to(FONTS))
                    rows.append((path, package, version, hashlib.sha256(content).hexdigest()))
    with (FONTS / "fonts.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, lineterminator="\n").writerows([("file", "npm_package", "version", "sha256"), *rows])
    return 0


def check() -> int:
    """Every file listed is there as listed, and nothing else is."""
    with (FONTS / "fonts.csv").open(encoding="utf-8", newline="") as stream:
        listed = {row["file"]: row["sha256"] for row in csv.DictReader(stream)}
    there = {str(path.relative_to(FONTS)) for path in FONTS.rglob("*") if path.is_file() and path.name != "fonts.csv"}
    wrong = [name for name, digest in listed.items() if hashlib.sha256((FONTS / name).read_bytes()).hexdigest() != digest]
    print(f"{len(listed)} files listed, wrong: {wrong or 'none'}, not listed: {sorted(there - listed.keys()) or 'none'}")
    return int(bool(wrong or there != listed.keys()))


if __name__ == "__main__":
    sys.exit(main())
