"""What may be said on the command line: each verb with its options, in groups by when it is used.

Nothing heavy is imported here, so that help comes at once.
"""

import argparse
import textwrap
from collections.abc import Callable
from typing import Any

from gearcase.cli import bus, campaign, declaring, desk, keeping, site, watching

__all__ = ["Verbs", "add_verbs"]

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
_JSON = "one JSON document on standard output, nothing else there"
_TIMES = "let time run so many times faster, at a desk"
_BY = "who does this; kept with the result"


class Verbs:
    """Verbs of a parser, listed in groups.

    Parsers take longest to build, so of other verbs than the one `asked` for (empty: of all) only what is listed is kept.
    """

    def __init__(self, parser: argparse.ArgumentParser, asked: str) -> None:
        self._added = parser.add_subparsers(metavar="VERB", help="one of those above")
        self._asked, self._unasked = asked, _Unasked(add_help=False)
        self._groups: list[tuple[str, list[tuple[str, str]]]] = []

    def group(self, title: str) -> None:
        """Begin a group; verbs added from now on stand in it."""
        self._groups.append((title, []))

    def bare(self, name: str, run: Callable[[argparse.Namespace], int], says: str) -> argparse.ArgumentParser:
        """Add a verb that takes no job."""
        self._groups[-1][1].append((name, says))
        if self._asked != name:
            return self._unasked
        added = self._added.add_parser(name, description=says[0].upper() + says[1:] + ".")
        added.set_defaults(run=run)
        return added

    def verb(self, name: str, run: Callable[[argparse.Namespace], int], says: str, *, by: bool = True) -> argparse.ArgumentParser:
        """Add a verb that takes a job, and who does it where that is kept."""
        added = self.bare(name, run, says)
        added.add_argument("job", metavar="JOB", help="folder of the job, the one that holds job.yaml")
        added.add_argument("--json", action="store_true", help=_JSON)
        if by:
            added.add_argument("--by", metavar="NAME", default="", help=_BY)
        return added

    def __contains__(self, name: str) -> bool:
        return name in self.names()

    def names(self) -> list[str]:
        """Every verb there is."""
        return [name for _, verbs in self._groups for name, _ in verbs]

    def listed(self, width: int) -> str:
        """All verbs with what they do, by groups, in lines of `width` characters at most."""
        indent = " " * 15
        return "\n\n".join(
            "\n".join(
                [f"{title}:"]
                + [textwrap.fill(says, width, initial_indent=f"  {name:<12} ", subsequent_indent=indent) for name, says in verbs]
            )
            for title, verbs in self._groups
        )


class _Unasked(argparse.ArgumentParser):
    """Takes the options of verbs that nobody asked for, and forgets them."""

    def add_argument(self, *names: Any, **options: Any) -> argparse.Action:
        return argparse.Action([], "")


def add_verbs(verbs: Verbs) -> None:
    """Add every verb there is."""
    _before_the_visit(verbs)
    _on_site(verbs)
    _running(verbs)
    _people_say(verbs)
    _found(verbs)
    _kept(verbs)
    _at_a_desk(verbs)


def _before_the_visit(verbs: Verbs) -> None:
    verbs.group("before the visit")
    new = verbs.verb("new", desk.new, "make a job folder with a commented job.yaml to fill in", by=False)
    new.add_argument("--title", default="", help="name of the job; the folder's name by default")
    kinds = ("parallel-shaft", "right-angle", "shaft-mounted")  # as `HOUSING_KINDS`; not imported, so that --help stays quick
    new.add_argument("--kind", choices=kinds, default=kinds[0], help="kind of drive to begin with")
    verbs.verb("check", desk.check, "read job.yaml and report everything wrong with it", by=False)
    survey = verbs.verb("survey", desk.survey, "what turns, which lines it shows, what can be seen, what is still unknown")
    _add_recordings(survey, "files to learn from; those of job.yaml by default")
    verbs.verb("plan", desk.plan, "how the kit goes on: holes, bonds, places, bus, cables, what to bring, the work card")
    says = "plan many jobs: one pick list, one cut list with least waste, what stops each job"
    many = verbs.bare("campaign", campaign.campaign, says)
    many.add_argument("folder", nargs="+", metavar="FOLDER", help="folders of jobs, or a folder that holds such")
    many.add_argument("--json", action="store_true", help=_JSON)
    many.add_argument("--into", metavar="FOLDER", help="keep the lists there, to print; nothing is kept by default")
    many.add_argument("--by", metavar="NAME", default="", help=_BY)


def _on_site(verbs: Verbs) -> None:
    verbs.group("on site")
    scan = verbs.verb("scan", bus.scan, "who answers on a bus of one's own, and whether that is as planned; reads only")
    scan.add_argument(
        "--listen", metavar="TIME", default="5 s", help='on a serial line, before anything is asked; "5 s" by default'
    )
    address = verbs.verb("address", bus.address, "on the bench: give the one device on the line the address planned for it")
    address.add_argument("--device", metavar="DEVICE", default="", help="its name in job.yaml")
    address.add_argument("--serial", metavar="SERIAL", default="", help="as it stands on the device in your hand")
    for added in (scan, address):
        added.add_argument("--master-off", action="store_true", help="you have seen to it that the plant's master is off this bus")
        added.add_argument("--wait", metavar="TIME", default="0.3 s", help='for one answer; "0.3 s" by default')
        added.add_argument("--addresses", metavar="FROM-TO", default="1-247", help="which to ask; 1-247 by default")
        added.add_argument("--connection", metavar="WHERE", help="how the bus is reached; that of job.yaml by default")
    fit = verbs.verb("fit", site.fit, "what was built, entered against the plan's work card; deviations are judged again")
    fit.add_argument("--entries", metavar="FILE", help="a YAML list of what was built; questions are asked where none is given")
    prove = verbs.verb(
        "prove", site.prove, "does each device answer, point right and tell the truth; what keeps you from going home"
    )
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
    prove.add_argument("--unplug", action="store_true", help="you are there to unplug one device after the other when told")
    prove.add_argument(
        "--say", action="append", default=[], metavar="STEP=WORDS", help='what only you can tell, e.g. "earth = 0.04 ohm"'
    )
    prove.add_argument("--owner", action="append", default=[], metavar="STEP=NAME", help="who owns a step that stays open")
    prove.add_argument("--parts", default="", metavar="N-M", help="only these parts of the list now, e.g. 1 on the bench, or 2-4,6")
    prove.add_argument("--yearly", action="store_true", help="the shorter list that verifies again each year")
    prove.add_argument("--again", action="store_true", help="prove everything again, what passed before too")


def _running(verbs: Verbs) -> None:
    verbs.group("running")
    baseline = verbs.verb("baseline", watching.baseline, "what is usual for this drive, and the limits that follow from readings")
    baseline.add_argument("--approver", metavar="NAME", default="", help="who accepts the limits, another than who proposes them")
    baseline.add_argument(
        "--reason", metavar="TEXT", default="", help="why a drive over its zone boundary is accepted all the same"
    )
    watch = verbs.verb(
        "watch", watching.watch, "poll the devices or follow a folder, judge, set the light, keep it all; Ctrl-C stops it"
    )
    watch.add_argument(
        "--every", metavar="TIME", default="10 s", help='between rounds; "10 s" by default, over the bus "30 s" at most'
    )
    watch.add_argument("--for", dest="lasting", metavar="TIME", help="stop by itself after so long; until Ctrl-C by default")
    watch.add_argument("--connection", metavar="WHERE", help="how the bus is reached; that of job.yaml by default")
    watch.add_argument("--folder", metavar="FOLDER", help="follow recordings that appear there instead of the devices")
    watch.add_argument("--times", type=float, default=1.0, metavar="N", help=_TIMES)
    notify = verbs.verb("notify", watching.notify, "send a test message to the people of notify:, and say whom it reached")
    notify.add_argument("--to", metavar="NAME", default="", help="one of them; all by default")
    verbs.verb("publish", desk.publish, "what the plant is told: register map, topics, nodes, as a sheet and a tag list")
    links = verbs.verb(
        "links", bus.links, "how often each device's frames failed and how long answers took, lately and before", by=False
    )
    links.add_argument("--lately", metavar="TIME", default="30 d", help='what counts as lately; "30 d" by default')
    verbs.verb("reload", declaring.reload, "ask a running watch to read job.yaml and baseline again; it notices a change by itself")
    unit = verbs.verb("unit", watching.unit, "print the systemd unit that keeps the watch running", by=False)
    unit.add_argument("--user", metavar="NAME", default="", help="who it runs as; the owner of the job's folder by default")


def _people_say(verbs: Verbs) -> None:
    verbs.group("what people say while it runs")
    acknowledge = verbs.verb(
        "acknowledge", declaring.acknowledge, "say that an alarm was seen: the condition stays, danger may clear"
    )
    acknowledge.add_argument("--point", metavar="POINT", default="", help="the point concerned; all by default")
    shelve = verbs.verb("shelve", declaring.shelve, "take an alarm out of the light for a while, by name and with a reason")
    shelve.add_argument("--point", metavar="POINT", default="", help="the point concerned")
    shelve.add_argument("--quantity", metavar="QUANTITY", default="", help="e.g. temperature; all of the point by default")
    shelve.add_argument("--for", dest="lasting", metavar="TIME", default="8 h", help='how long; "8 h" by default, 7 days at most')
    shelve.add_argument("--reason", metavar="TEXT", default="", help="why")
    shelve.add_argument("--approver", metavar="NAME", default="", help="who allows a danger to be shelved, another person")
    maintenance = verbs.verb(
        "maintenance", declaring.maintenance, "people work on the drive: white light, no alarm told, all recorded"
    )
    maintenance.add_argument("--for", dest="lasting", metavar="TIME", default="8 h", help='how long; "8 h" by default')
    maintenance.add_argument("--reason", metavar="TEXT", default="", help="why")
    maintenance.add_argument(
        "--approver", metavar="NAME", default="", help="who allows that a danger does not show, another person"
    )
    maintenance.add_argument("--over", action="store_true", help="it is over")
    epoch = verbs.verb("epoch", declaring.epoch, "declare what makes readings before and after not comparable")
    epoch.add_argument("kind", metavar="KIND", help="e.g. oil changed, sensor moved; a wrong one lists them all")
    epoch.add_argument("--point", metavar="POINT", default="", help="the point concerned; the whole drive by default")
    epoch.add_argument("--says", metavar="TEXT", default="", help="anything more")
    answer = verbs.verb("answer", declaring.answer, "answer a question of the watch's diary; without a number, list the open ones")
    answer.add_argument("number", metavar="NUMBER", nargs="?", type=int, help="of the question")
    answer.add_argument("says", metavar="TEXT", nargs="?", default="", help="what explains it")


def _found(verbs: Verbs) -> None:
    verbs.group("what it means")
    diagnose = verbs.verb("diagnose", desk.diagnose, "judge recordings against the drive, with odds")
    _add_recordings(diagnose, "files to judge; those of job.yaml by default")
    plot = verbs.verb("plot", desk.plot, "draw one recording, expected lines named: SVG or PNG", by=False)
    plot.add_argument("--kind", required=True, metavar="KIND", help=f"one of {', '.join(_PLOTS)}")
    plot.add_argument("--into", required=True, metavar="FILE", help="the file to write, ending in .svg or .png")
    _add_recordings(plot, "files, the last is drawn; those of job.yaml by default")
    verbs.verb("trend", watching.trend, "where each level is going and how long is left, from readings and diagnoses")
    opened = verbs.verb("opened", site.opened, "what was found behind each verdict on opening, and the tally of each pattern")
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
    handover = verbs.verb("handover", desk.handover, "make the PDF and the web page the owner gets")
    handover.add_argument("--accept-stale", metavar="NAME", default="", help="who accepts results older than job.yaml")


def _kept(verbs: Verbs) -> None:
    verbs.group("what is kept")
    backup = verbs.verb("backup", keeping.backup, "copy what the watch keeps, while it goes on, into a folder to restore from")
    backup.add_argument("--into", metavar="FOLDER", required=True, help="the folder to make")
    verify = verbs.verb(
        "verify", keeping.verify, "look what the watch keeps through: database, people's entries, recordings", by=False
    )
    verify.add_argument("--backup", metavar="FOLDER", default="", help="look a backup through instead")
    verify.add_argument("--holds", metavar="HASH", default="", help="of an entry that must be there, as an earlier verify gave it")
    restore = verbs.verb(
        "restore", keeping.restore, "put a backup into a job that has kept nothing yet, in its file or database", by=False
    )
    restore.add_argument("--backup", metavar="FOLDER", required=True, help="the folder that gearcase backup made")
    thin = verbs.verb(
        "thin", keeping.thin, "thin old readings to a minute's least, greatest and mean, and old recordings to one a week", by=False
    )
    thin.add_argument("--older-than", metavar="TIME", help='what is younger stays whole; as the job says, else "90 d", by default')
    thin.add_argument(
        "--minutes-older-than", metavar="TIME", help='these become hours, e.g. "730 d"; as the job says, else none, by default'
    )


def _at_a_desk(verbs: Verbs) -> None:
    verbs.group("at a desk")
    rig = verbs.verb("rig", site.rig, "serve a simulated drive as the job's devices, over Modbus TCP and a serial line", by=False)
    rig.add_argument("--port", type=int, default=15020, metavar="PORT", help="of Modbus TCP on this machine; 15020 by default")
    rig.add_argument("--speed", metavar="SPEED", help='speed of the input, e.g. "1485 rpm"; the rated speed by default')
    rig.add_argument("--times", type=float, default=1.0, metavar="N", help=_TIMES)
    serve = verbs.verb("serve", desk.serve, "read-only pages of the job, for a browser on this machine", by=False)
    serve.add_argument("--port", metavar="PORT", default="8765", help="port on 127.0.0.1, 8765 by default")
    schema = verbs.bare("schema", desk.schema, "print the JSON Schema of job.yaml, for editors")
    schema.set_defaults(json=True)


def _add_recordings(added: argparse.ArgumentParser, says: str) -> None:
    """Recordings, and what their files may not say."""
    added.add_argument("recording", nargs="*", default=[], metavar="RECORDING", help=says)
    for option, metavar, says in (
        ("--rate", "RATE", 'sample rate where the file does not say, e.g. "12 kHz" (a bare number counts as Hz)'),
        ("--unit", "UNIT", "unit of the samples where the file does not say, e.g. g, m/s2, mm/s"),
        ("--speed", "SPEED", 'speed of the stated shaft while recording, e.g. "1485 rpm"'),
        ("--channel", "NAME", "which channel, where the file holds several"),
        ("--point", "POINT", "measuring point of the job where it was taken; may be left out"),
    ):
        added.add_argument(option, metavar=metavar, help=says)
