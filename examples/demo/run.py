"""The demo, from a job file to a watched and handed-over drive: `make demo`.

Copies the job into a working folder, tries a plan with faults a technician would make, then the corrected one; fits it as the
entries say; lets the rig answer as its devices, proves them, takes a baseline, lets a bearing fault grow until the light turns;
judges recordings of half a year with the same fault in them; asks where it is going; enters what was found on opening; and makes
the handover. It calls the commands a person would type.
Time at the rig runs faster, and says so.
"""

import json
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

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
TIMES = "120"  # how much faster time runs at the rig and the watch
TAPPED = ("input coupling end", "intermediate left")
SAID = (  # what only the crew can tell
    *(f"{step} = yes" for step in ("isolation", "continuity", "guards", "oil", "first start", "hot leaks")),
    *(f"{step} = yes" for step in ("controller bad quality", "light by a real stimulus", "light acknowledged")),
    *(f"{step} = yes" for step in ("notification", "backup", "baseline started")),
    *("termination = 60 ohm", "bias = 250 mV", "supply at the end = 22.8 V", "earth = 0.04 ohm"),
    *("light without service = 8 s", "light without network = 9 s", "light without power = 2 s"),
    *("mount tap at vibration input = 31.2, 31.5, 30.9 dB", "mount tap at vibration intermediate = 28.1, 28.4, 27.9 dB"),
)
DEVICES = ("converter", "vibration input", "vibration intermediate", "sump temperature", "stack light")
LEFT = (  # what the demo has no hands, hours and photos for
    *("soak", "found", *(f"unplugged at {device}" for device in DEVICES)),
    *("as built at vibration input", "as built at vibration intermediate"),
)
PLANT = "\npublish:  # on site the edge computer's own address, port 502\n  modbus: {port: PORT}\n"
HERE = Path(__file__).parent
FIRST_DRAFT = (  # what the first plan has wrong: a hole too deep for the wall, one address twice, a cable too short
    ("\n    wall: {readings: [22.6 mm, 22.4 mm, 22.5 mm]", "\n    wall: {readings: [14.4 mm, 14.2 mm, 14.3 mm]"),
    ("address: 12, registers: 48", "address: 11, registers: 48"),
    ("{name: W2, length: 10 m,", "{name: W2, length: 6 m,"),
)


def main() -> int:
    """Run the demo in the folder named. Returns 0 when every step did what it should."""
    folder = Path(sys.argv[1])
    if folder.exists():
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    text = (HERE / "job.yaml").read_text(encoding="utf-8")
    draft = text
    for right, wrong in FIRST_DRAFT:
        assert draft.count(right) == 1, right
        draft = draft.replace(right, wrong)
    (folder / "job.yaml").write_text(draft, encoding="utf-8")
    survey = call("survey", folder)
    first = call("plan", folder)
    for finding in first["findings"]:
        if finding["level"] == "blocker":
            print(f"    blocked: {finding['where']}: {finding['says']}")
    print("    corrected in job.yaml, and planned again")
    (folder / "job.yaml").write_text(text + PLANT.replace("PORT", str(free_port())), encoding="utf-8")
    shutil.copy(HERE / "fit.yaml", folder / "fit.yaml")
    survey = call("survey", folder)
    plan = call("plan", folder)
    fit = call("fit", folder, "--entries", str(folder / "fit.yaml"))
    with rig(folder) as (connection, order):
        order("stop")
        proving = ("--connection", connection)
        for point in TAPPED:
            order(f"calibrator {point}")
            call("prove", folder, *proving, "--parts", "1", "--calibrated", point, "--temperature", "20 °C")
        order("calibrator off")
        seen = ("--light-seen", "--controller", "0x1234,123456789,123.456")
        proof = call("prove", folder, *proving, *seen, *(word for said in SAID for word in ("--say", said)))
        print(f"    {proof['statement']}: {first_open(proof)}")
        for point in TAPPED:
            order(f"tap {point}")
        proof = call("prove", folder, *proving, *(word for point in TAPPED for word in ("--tapped", point)))
        order("speed 1485 rpm")
        order("load 100 %")
        running = ("--speed", "1485 rpm", "--load", "100 %")
        proof = call("prove", folder, *proving, *running, *(word for step in LEFT for word in ("--owner", f"{step} = A. Fell")))
        print(f"    {proof['statement']}")
        order("load 70 %")
        order("speed 1485 rpm")
        order("sump 48 °C")
        watching = ("--connection", connection, "--times", TIMES)
        call("watch", folder, *watching, "--for", "30 min")
        baseline = call("baseline", folder)
        print(f"    {baseline['statement']}")
        order(f"fault outer_race 2 m/s2 at {DAMAGED}")
        early = call("watch", folder, *watching, "--for", "15 min")
        print(f"    {early['statement']}")
        order(f"fault outer_race 20 m/s2 at {DAMAGED}")
        watch = call("watch", folder, *watching, "--for", "40 min")
        for event in watch["events"]:
            if event["kind"] in ("light", "fault named", "question"):
                print(f"    {event['time'][11:16]} {event['kind']}: {event['says']}")
    job = load(folder)
    for number, entry in enumerate(job.recordings):
        synthesise(job, entry, folder / entry.file, seed=number)
    diagnosis = call("diagnose", folder)
    trend = call("trend", folder)
    print(f"    {trend['statement']}")
    verdict = diagnosis["verdicts"][0]
    looked = ("--component", verdict["component"], "--fault", verdict["fault"], "--found", "confirmed")
    opened = call("opened", folder, *looked, "--says", "a spall on the ring as long as a thumb is wide")
    print(f"    {opened['tally'][0]['says']}")
    told = call("publish", folder)
    handover = call("handover", folder)
    stops = sum(question["blocks_ordering"] for question in survey["unknown"])
    blockers = sum(finding["level"] == "blocker" for finding in first["findings"])
    print()
    print(f"plan:     {blockers} blockers in the first, {count_blockers(plan)} in the corrected one")
    print(f"fit:      {fit['statement']}")
    print(f"prove:    {proof['statement']}")
    print(f"baseline: {baseline['status']}, {len(baseline['limits'])} limits")
    print(f"watch:    {watch['statement']}")
    print(f"found:    {diagnosis['statement']}")
    print(f"trend:    {trend['statement']}")
    print(f"opened:   {opened['statement']}")
    print(f"not told: {len(survey['unknown'])} questions still open, {stops} of which stop ordering")
    print(f"plant:    {told['statement']}")
    print(f"PDF:      {handover['pdf']}")
    print(f"web page: {handover['html']}")
    print(f"pages:    gearcase serve {folder}")
    return 0 if proof["may_go_home"] and watch["light"] == "yellow" and blockers == 3 and not count_blockers(plan) else 1


def count_blockers(plan: dict[str, Any]) -> int:
    """Blockers among a plan's findings."""
    return sum(finding["level"] == "blocker" for finding in plan["findings"])


def first_open(proof: dict[str, Any]) -> str:
    """The first thing that keeps one from going home."""
    row = proof["before_going_home"][0]
    return f"{row['device']}, {row['step']}: {row['says']}"


def free_port() -> int:
    """A port of this machine that nothing uses now."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@contextmanager
def rig(folder: Path) -> Iterator[tuple[str, Any]]:
    """The rig on a free port: how it is reached, and a way to give it orders that waits until each is carried out."""
    port = free_port()
    command = [sys.executable, "-m", "gearcase.cli", "rig", str(folder), "--port", str(port), "--times", TIMES]
    print(f"$ gearcase rig {folder} --times {TIMES}", flush=True)
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin and process.stdout
        orders: IO[str] = process.stdin
        answers: IO[str] = process.stdout
        connection, _, _ = (answers.readline().strip() for _ in range(3))

        def order(line: str) -> None:
            orders.write(f"{line}\n")
            orders.flush()
            print(f"    rig: {answers.readline().strip()}", flush=True)

        try:
            yield connection, order
        finally:
            orders.close()


def synthesise(job: Job, entry: RecordingEntry, path: Path, *, seed: int) -> None:
    """Write one recording of the job's drive; the file's ending says in which format."""
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


def call(verb: str, folder: Path, *options: str) -> dict[str, Any]:
    """Call a command as a person would, with --json; 0 and 1 are answers, 2 is not."""
    command = [sys.executable, "-m", "gearcase.cli", verb, str(folder), *options]
    print(f"$ gearcase {' '.join([verb, str(folder), *(repr(one) if ' ' in one else one for one in options)])}", flush=True)
    done = subprocess.run([*command, "--json", "--by", "demo"], capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        sys.exit(done.stdout + done.stderr)
    document: dict[str, Any] = json.loads(done.stdout)
    return document


if __name__ == "__main__":
    sys.exit(main())
