"""The demo, from a job file to a handover: `make demo`.

Copies the job into a working folder, synthesises its recordings from the same job with a fault that grows in one bearing, then
calls the commands a person would type.
"""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow
import pyarrow.parquet
import soundfile

from gearcase.drive.simulate import BearingFault, Levels, simulate
from gearcase.job.build import Job, RecordingEntry, load

RATE_HZ = 12800.0
SECONDS = 20
DAMAGED = "intermediate bearing, left"
IMPACT = {"2026-03": 0.0, "2026-05": 1.2, "2026-07": 2.4, "2026-09": 5.0}  # m/s2 at the damaged bearing, by month
FADING = {"intermediate left": 1.0, "input coupling end": 0.1}  # what of it reaches each point


def main() -> int:
    """Run the demo in the folder named. Returns 0 when every step did what it should."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copy(Path(__file__).with_name("job.yaml"), folder / "job.yaml")
    job = load(folder)
    for number, entry in enumerate(job.recordings):
        synthesise(job, entry, folder / entry.file, seed=number)
    survey = call("survey", folder)
    plan = call("plan", folder)
    diagnosis = call("diagnose", folder)
    handover = call("handover", folder)
    stops = sum(question["blocks_ordering"] for question in survey["unknown"])
    print()
    print(f"found:    {diagnosis['statement']}")
    blockers = sum(finding["level"] == "blocker" for finding in plan["findings"])
    print(f"plan:     {blockers or 'nothing'} blocks it, {len(plan['work_card'])} steps on the work card")
    print(f"not told: {len(survey['unknown'])} questions still open, {stops} of which stop ordering")
    print(f"PDF:      {handover['pdf']}")
    print(f"web page: {handover['html']}")
    return 0


def synthesise(job: Job, entry: RecordingEntry, path: Path, *, seed: int) -> None:
    """Write one recording of the job's drive, unless it is there; the file's ending says in which format."""
    if path.exists():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    impact = IMPACT[path.name[:7]] * FADING[entry.point]
    faults = [BearingFault(DAMAGED, "outer_race", impact, rate_offset=-0.004, jitter=0.004)] if impact else []
    samples = simulate(
        job.drive,
        speed_hz=(entry.speed_hz or job.drive.rated_speed_hz) * 1.001,
        sample_rate_hz=RATE_HZ,
        samples=int(RATE_HZ * SECONDS),
        seed=seed,
        noise="resonant",
        faults=faults,
        levels=Levels(shaft=0.2, mesh=0.8, noise_rms=1.0, modulation=0.08),
        wander=0.0002,
    )
    if path.suffix == ".wav":
        soundfile.write(path, samples, int(RATE_HZ), subtype="FLOAT")
    elif path.suffix == ".csv":
        rows = np.column_stack([np.arange(samples.size) / RATE_HZ, samples])
        np.savetxt(path, rows, fmt=("%.8f", "%.5f"), delimiter=",", header="time [s],acceleration [m/s2]", comments="")
    else:
        facts = {"sample_rate_hz": str(RATE_HZ), "unit": "m/s2"}
        table = pyarrow.table({"acceleration": samples}).replace_schema_metadata(facts)
        pyarrow.parquet.write_table(table, path)


def call(verb: str, folder: Path) -> dict:
    """Call a command as a person would, with --json; 0 and 1 are answers, 2 is not."""
    command = [sys.executable, "-m", "gearcase.cli", verb, str(folder)]
    print(f"$ gearcase {verb} {folder}", flush=True)
    done = subprocess.run([*command, "--json", "--by", "demo"], capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        sys.exit(done.stdout + done.stderr)
    return json.loads(done.stdout)


if __name__ == "__main__":
    sys.exit(main())
