"""The command line: parse, call one stage, show.

``gearcase VERB JOB``. Exit 0: done and nothing wrong; 1: done, and somebody must act (fault, blocker, unfit recording, zone D);
2: the input or the call was wrong. Heavy imports happen inside the verbs, so that help comes at once.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn

from gearcase import __version__
from gearcase.cli import bus, campaign, declaring, desk, keeping, site, watching
from gearcase.cli.answers import NOTHING_WRONG, WRONG_INPUT, refuse
from gearcase.errors import BadInput, GearcaseError, OutOfRange, Problem

__all__ = ["main"]

_PLOTS = (
    "waveform",
    "spectrum",
    "orders",
    "envelope",
    "order-map",
    "history",
    "kurtogram",
    "tooth-circle",
)  # `KINDS`, not imported
_CAMPAIGN = "plan many jobs: one pick list, one cut list with least waste, what stops each job"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb. Returns the exit code."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    parser = _parser()
    try:
        given = parser.parse_args(words)
    except BadInput as error:
        asked = any(len(word) > 2 and "--json".startswith(word) for word in words)  # argparse takes --js as well
        return refuse(argparse.Namespace(json=asked), error)
    except SystemExit as stop:  # help or version: argparse has already spoken
        return WRONG_INPUT if stop.code else NOTHING_WRONG
    if given.run is None:
        parser.print_help()
        return WRONG_INPUT
    try:
        run: Callable[[argparse.Namespace], int] = given.run
        return run(given)
    except BadInput as error:
        return refuse(given, error)
    except OutOfRange as error:
        return refuse(given, BadInput(Problem(error.name, "", str(error.value), error.rule)))
    except GearcaseError as error:
        return refuse(given, BadInput(Problem("", "", "", str(error))))
    except BrokenPipeError:
        return NOTHING_WRONG
    except KeyboardInterrupt:
        return refuse(given, BadInput(Problem("stopped by hand", "", "", "run it again: nothing kept before is lost")))
    except OSError as error:
        return refuse(given, BadInput(Problem(str(error.filename or ""), "", "", error.strerror or str(error))))
    except Exception as error:  # a defect must not look like an answer: exit 1 says that a fault of the drive was found
        import traceback

        place = traceback.extract_tb(error.__traceback__)[-1]
        says = f"{type(error).__name__}: {error} ({place.filename.rpartition('/')[2]}:{place.lineno})"
        return refuse(given, BadInput(Problem("gearcase itself failed", "", says, "nothing kept before is lost; please report it")))


class _Parser(argparse.ArgumentParser):
    """A parser that refuses a wrong call as any other bad input is refused, so that ``--json`` holds for it too."""

    def error(self, message: str) -> NoReturn:
        usage = " ".join(self.format_usage().removeprefix("usage:").split())
        raise BadInput(Problem(self.prog, "", message, usage))


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="gearcase",
        description="Fit, prove and watch monitoring on enclosed gear drives. Advice and record, not a protection system.",
        epilog="Exit codes: 0 done and nothing wrong; 1 done, and a fault, blocker, unfit recording or zone D was found; "
        "2 the input or the call was wrong.",
    )
    parser.add_argument("--version", action="version", version=f"gearcase {__version__}")
    parser.set_defaults(run=None, json=False)
    verbs = parser.add_subparsers(title="verbs", metavar="VERB")

    def verb(name: str, run: Callable[[argparse.Namespace], int], says: str) -> argparse.ArgumentParser:
        added = verbs.add_parser(name, help=says, description=says[0].upper() + says[1:] + ".")
        added.add_argument("job", metavar="JOB", help="folder of the job, the one that holds job.yaml")
        added.add_argument("--json", action="store_true", help="one JSON document on standard output, nothing else there")
        added.set_defaults(run=run)
        return added

    new = verb("new", desk.new, "make a job folder with a commented job.yaml to fill in")
    new.add_argument("--title", default="", help="name of the job; the folder's name by default")
    kinds = ("parallel-shaft", "right-angle", "shaft-mounted")  # as `HOUSING_KINDS`; not imported, so that --help stays quick
    new.add_argument("--kind", choices=kinds, default=kinds[0], help="kind of drive to begin with")
    verb("check", desk.check, "read job.yaml and report everything wrong with it")
    survey = verb("survey", desk.survey, "what turns, which lines it shows, what can be seen, what is still unknown")
    plan = verb("plan", desk.plan, "how the kit goes on: holes, bonds, places, bus, cables, what to bring, the work card")
    many = verbs.add_parser("campaign", help=_CAMPAIGN, description=_CAMPAIGN[0].upper() + _CAMPAIGN[1:] + ".")
    many.add_argument("folder", nargs="+", metavar="FOLDER", help="folders of jobs, or a folder that holds such")
    many.add_argument("--json", action="store_true", help="one JSON document on standard output, nothing else there")
    many.add_argument("--into", metavar="FOLDER", help="keep the lists there, to print; nothing is kept by default")
    many.add_argument("--by", metavar="NAME", default="", help="who does this; kept with the result")
    many.set_defaults(run=campaign.campaign)
    fit = verb("fit", site.fit, "what was built, entered against the plan's work card; deviations are judged again")
    fit.add_argument("--entries", metavar="FILE", help="a YAML list of what was built; questions are asked where none is given")
    scan = verb("scan", bus.scan, "who answers on a bus of one's own, and whether that is as planned; reads only")
    scan.add_argument(
        "--listen", metavar="TIME", default="5 s", help='on a serial line, before anything is asked; "5 s" by default'
    )
    address = verb("address", bus.address, "on the bench: give the one device on the line the address planned for it")
    address.add_argument("--device", metavar="DEVICE", default="", help="its name in job.yaml")
    address.add_argument("--serial", metavar="SERIAL", default="", help="as it stands on the device in your hand")
    for added in (scan, address):
        added.add_argument("--master-off", action="store_true", help="you have seen to it that the plant's master is off this bus")
        added.add_argument("--wait", metavar="TIME", default="0.3 s", help='for one answer; "0.3 s" by default')
        added.add_argument("--addresses", metavar="FROM-TO", default="1-247", help="which to ask; 1-247 by default")
        added.add_argument("--connection", metavar="WHERE", help="how the bus is reached; that of job.yaml by default")
        added.add_argument("--by", metavar="NAME", default="", help="who does this and says so; kept with the result")
    links = verb("links", bus.links, "how often each device's frames failed and how long answers took, lately and before")
    links.add_argument("--lately", metavar="TIME", default="30 d", help='what counts as lately; "30 d" by default')
    prove = verb("prove", site.prove, "does each device answer, point right and tell the truth; what keeps you from going home")
    for option, metavar, says in (
        ("--connection", "WHERE", "how the bus is reached, e.g. tcp 127.0.0.1:15020; that of job.yaml by default"),
        ("--speed", "SPEED", "of the input, by an instrument of your own"),
        ("--load", "LOAD", 'of the drive, by an instrument of your own, e.g. "80 %%"'),
        ("--soak", "TIME", 'poll the whole bus for so long, e.g. "4 h"'),
        ("--temperature", "TEMPERATURE", 'of the oil, by an instrument of your own, e.g. "21.5 °C"'),
        ("--controller", "VALUES", "what the plant controller shows for the test registers, with commas"),
    ):
        prove.add_argument(option, metavar=metavar, help=says)
    prove.add_argument("--polls", type=int, default=10000, metavar="N", help="of each device, for its link; 10000 by default")
    prove.add_argument("--tapped", action="append", default=[], metavar="POINT", help="just tapped towards the output end")
    prove.add_argument(
        "--calibrated", action="append", default=[], metavar="POINT", help="its sensor stands on the running calibrator"
    )
    prove.add_argument("--light-seen", action="store_true", help="you saw each colour of the light")
    prove.add_argument("--alone", action="store_true", help="nobody else asks on this bus: it may be searched for strangers")
    prove.add_argument("--unplug", action="store_true", help="you are there to unplug one device after the other when told")
    prove.add_argument(
        "--say", action="append", default=[], metavar="STEP=WORDS", help='what only you can tell, e.g. "earth = 0.04 ohm"'
    )
    prove.add_argument("--owner", action="append", default=[], metavar="STEP=NAME", help="who owns a step that stays open")
    prove.add_argument("--parts", default="", metavar="N-M", help="only these parts of the list now, e.g. 1 on the bench, or 2-4,6")
    prove.add_argument("--yearly", action="store_true", help="the shorter list that verifies again each year")
    prove.add_argument("--again", action="store_true", help="prove everything again, what passed before too")
    baseline = verb("baseline", watching.baseline, "what is usual for this drive, and the limits that follow from readings")
    baseline.add_argument("--approver", metavar="NAME", default="", help="who accepts the limits, another than who proposes them")
    baseline.add_argument(
        "--reason", metavar="TEXT", default="", help="why a drive over its zone boundary is accepted all the same"
    )
    watch = verb("watch", watching.watch, "poll the devices or follow a folder, judge, set the light, keep it all; Ctrl-C stops it")
    watch.add_argument("--every", metavar="TIME", default="10 s", help='between rounds; "10 s" by default')
    watch.add_argument("--for", dest="lasting", metavar="TIME", help="stop by itself after so long; until Ctrl-C by default")
    watch.add_argument("--connection", metavar="WHERE", help="how the bus is reached; that of job.yaml by default")
    watch.add_argument("--folder", metavar="FOLDER", help="follow recordings that appear there instead of the devices")
    trend = verb("trend", watching.trend, "where each level is going and how long is left, from readings and diagnoses")
    epoch = verb("epoch", declaring.epoch, "declare what makes readings before and after not comparable")
    epoch.add_argument("kind", metavar="KIND", help="e.g. oil changed, sensor moved; a wrong one lists them all")
    epoch.add_argument("--point", metavar="POINT", default="", help="the point concerned; the whole drive by default")
    epoch.add_argument("--says", metavar="TEXT", default="", help="anything more")
    acknowledge = verb("acknowledge", declaring.acknowledge, "say that an alarm was seen: the condition stays, danger may clear")
    acknowledge.add_argument("--point", metavar="POINT", default="", help="the point concerned; all by default")
    shelve = verb("shelve", declaring.shelve, "take an alarm out of the light for a while, by name and with a reason")
    shelve.add_argument("--point", metavar="POINT", default="", help="the point concerned")
    shelve.add_argument("--quantity", metavar="QUANTITY", default="", help="e.g. temperature; all of the point by default")
    shelve.add_argument("--for", dest="lasting", metavar="TIME", default="8 h", help='how long; "8 h" by default, 7 days at most')
    shelve.add_argument("--reason", metavar="TEXT", default="", help="why")
    shelve.add_argument("--approver", metavar="NAME", default="", help="who allows a danger to be shelved, another person")
    maintenance = verb("maintenance", declaring.maintenance, "people work on the drive: white light, no alarm told, all recorded")
    maintenance.add_argument("--for", dest="lasting", metavar="TIME", default="8 h", help='how long; "8 h" by default')
    maintenance.add_argument("--reason", metavar="TEXT", default="", help="why")
    maintenance.add_argument(
        "--approver", metavar="NAME", default="", help="who allows that a danger does not show, another person"
    )
    maintenance.add_argument("--over", action="store_true", help="it is over")
    answer = verb("answer", declaring.answer, "answer a question of the watch's diary; without a number, list the open ones")
    answer.add_argument("number", metavar="NUMBER", nargs="?", type=int, help="of the question")
    answer.add_argument("says", metavar="TEXT", nargs="?", default="", help="what explains it")
    reload = verb(
        "reload", declaring.reload, "ask a running watch to read job.yaml and baseline again; it notices a change by itself"
    )
    notify = verb("notify", watching.notify, "send a test message to the people of notify:, and say whom it reached")
    notify.add_argument("--to", metavar="NAME", default="", help="one of them; all by default")
    unit = verb("unit", watching.unit, "print the systemd unit that keeps the watch running")
    unit.add_argument("--user", metavar="NAME", default="", help="who it runs as; the owner of the job's folder by default")
    backup = verb("backup", keeping.backup, "copy what the watch keeps, while it goes on, into a folder to restore from")
    backup.add_argument("--into", metavar="FOLDER", required=True, help="the folder to make")
    verify = verb("verify", keeping.verify, "look what the watch keeps through: database, people's entries, recordings")
    verify.add_argument("--backup", metavar="FOLDER", default="", help="look a backup through instead")
    verify.add_argument("--holds", metavar="HASH", default="", help="of an entry that must be there, as an earlier verify gave it")
    restore = verb("restore", keeping.restore, "put a backup into a job that has kept nothing yet, in its file or database")
    restore.add_argument("--backup", metavar="FOLDER", required=True, help="the folder that gearcase backup made")
    thin = verb("thin", keeping.thin, "thin old readings to a minute's least, greatest and mean, and old recordings to one a week")
    thin.add_argument("--older-than", metavar="TIME", default="90 d", help='what is younger stays whole; "90 d" by default')
    rig = verb("rig", site.rig, "serve a simulated drive as the job's devices, over Modbus TCP and a serial line")
    rig.add_argument("--port", type=int, default=15020, metavar="PORT", help="of Modbus TCP on this machine; 15020 by default")
    rig.add_argument("--speed", metavar="SPEED", help='speed of the input, e.g. "1485 rpm"; the rated speed by default')
    for added in (rig, watch):
        added.add_argument("--times", type=float, default=1.0, metavar="N", help="let time run so many times faster, at a desk")
    diagnose = verb("diagnose", desk.diagnose, "judge recordings against the drive, with odds")
    plot = verb("plot", desk.plot, "draw one recording, expected lines named: SVG or PNG")
    plot.add_argument("--kind", required=True, metavar="KIND", help=f"one of {', '.join(_PLOTS)}")
    plot.add_argument("--into", required=True, metavar="FILE", help="the file to write, ending in .svg or .png")
    plot.add_argument("recording", nargs="*", metavar="RECORDING", help="files, the last is drawn; those of job.yaml by default")
    survey.add_argument("recording", nargs="*", metavar="RECORDING", help="files to learn from; those of job.yaml by default")
    diagnose.add_argument("recording", nargs="*", metavar="RECORDING", help="files to judge; those of job.yaml by default")
    for option, metavar, says in (
        ("--rate", "RATE", 'sample rate where the file does not say, e.g. "12 kHz" (a bare number counts as Hz)'),
        ("--unit", "UNIT", "unit of the samples where the file does not say, e.g. g, m/s2, mm/s"),
        ("--speed", "SPEED", 'speed of the stated shaft while recording, e.g. "1485 rpm"'),
        ("--channel", "NAME", "which channel, where the file holds several"),
        ("--point", "POINT", "measuring point of the job where it was taken; may be left out"),
    ):
        for added in (survey, diagnose, plot):
            added.add_argument(option, metavar=metavar, help=says)
    opened = verb("opened", site.opened, "what was found behind each verdict on opening, and the tally of each pattern")
    for option, metavar, says in (
        ("--component", "PART", "of the verdict, or of a fault that none had named"),
        ("--fault", "PATTERN", "of the verdict; left out for a fault that none had named"),
        ("--found", "WHAT", "confirmed, other, nothing or not inspected"),
        ("--seen", "PATTERN", "what was found instead, with --found other"),
        ("--says", "TEXT", "anything more"),
        ("--on", "DATE", "day of the opening; today by default"),
    ):
        opened.add_argument(option, metavar=metavar, default="", help=says)
    opened.add_argument("--photo", metavar="FILE", action="append", default=[], help="a photo in the job's folder")
    opened.add_argument(
        "--corrects", metavar="N", type=int, help="number of the entry that this one replaces; both stay in the record"
    )
    publish = verb("publish", desk.publish, "what the plant is told: register map, topics, nodes, as a sheet and a tag list")
    handover = verb("handover", desk.handover, "make the PDF and the web page the owner gets")
    handover.add_argument("--accept-stale", metavar="NAME", default="", help="who accepts results older than job.yaml")
    for added in (
        survey,
        plan,
        fit,
        prove,
        baseline,
        watch,
        trend,
        epoch,
        acknowledge,
        shelve,
        maintenance,
        answer,
        reload,
        notify,
        diagnose,
        opened,
        publish,
        handover,
        backup,
    ):
        added.add_argument("--by", metavar="NAME", default="", help="who does this; kept with the result")
    serve = verb("serve", desk.serve, "read-only pages of the job, for a browser on this machine")
    serve.add_argument("--port", metavar="PORT", default="8765", help="port on 127.0.0.1, 8765 by default")
    schema = verbs.add_parser("schema", help="print the JSON Schema of job.yaml, for editors")
    schema.set_defaults(run=desk.schema, json=True)
    return parser
