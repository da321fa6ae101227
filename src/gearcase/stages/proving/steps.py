"""The list of the proving, in its order: thirteen parts, their steps, what each must meet, and how it is asked.

Order and criteria are common practice of the trade, no source, where none is named. What only a person can tell is a question with
its limits (`person.Asked`); all else is read over the bus. `yearly` marks the shorter list by which an installation is verified
again each year; what stands there only is not asked the first time.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from gearcase.install.profile import Profile
from gearcase.stages.proving import bench, built, controller, light, record, sensors, wiring
from gearcase.stages.proving.person import LEVELS, YES_OR_NO, Ask, Asked, asked, mount_tap, side_by_side, supply
from gearcase.stages.proving.session import begins_with_constants

__all__ = ["PARTS", "STEPS", "Step"]

When = Literal["first", "both", "yearly"]
Concerns = Callable[[Profile], bool]

PARTS = (
    "bench",
    "isolation and as-built",
    "dead wiring",
    "bus",
    "test registers and gravity",
    "orientation",
    "mount",
    "noise at standstill",
    "speed, load and run inputs",
    "first start",
    "controller",
    "light, people and backup",
    "records",
)


def _every(form: Profile) -> bool:
    return True


def _with_role(role: str) -> Concerns:
    return lambda form: bool(form.with_role(role))


def _that_tells(*quantities: str) -> Concerns:
    return lambda form: all(form.of(quantity) for quantity in quantities)


def _with_record(form: Profile) -> bool:
    return bool(form.records)


_INSTALLATION = None  # about no single device
_SHAKEN, _LIGHT = _that_tells("overall velocity"), _that_tells("lamps wanted", "lamps lit")
_INPUTS = _that_tells("running", "speed", "load")


@dataclass(frozen=True)
class Step:
    """One step.

    Attributes
    ----------
    part : int
        Which of `PARTS`, from 1.
    criterion : str
    ask : callable
    concerns : callable or None
        Whether it is asked of a device with such a register map; None where it is about the installation as a whole.
    answer : str
        What a person's answer is that decides it, and stands until they say otherwise: one of `person.ANSWERS`, or a kind of
        quantity; empty where no answer is asked for.
    when : str
        ``first``, ``both``, or ``yearly`` only.
    """

    part: int
    criterion: str
    ask: Ask
    concerns: Concerns | None = _every
    answer: str = ""
    when: When = "first"


def _person(name: str, part: int, criterion: str, question: Asked, when: When = "first") -> tuple[str, Step]:
    return name, Step(part, criterion, asked(name, question), _INSTALLATION, question.kind or YES_OR_NO, when)


def _light_alone(what: str, do: str) -> tuple[str, Step]:
    """How the light shows that it was left alone, by a person's watch."""
    cure = "set the light to blue or off without a heartbeat, and whatever was stopped to start by itself"
    question = Asked(
        f"{do}; give the seconds until the light is blue or off, e.g. 8 s, and see it come back by itself", cure, "time", 0, 10
    )
    return _person(f"light without {what}", 12, "blue or off within 10 s, and back by itself", question)


STEPS: Mapping[str, Step] = dict(
    (
        ("answers", Step(1, "answers at its address, which no other device has", bench.answers, when="both")),
        ("identity", Step(1, "its model is the profile's", bench.identity, _with_role("model"), when="both")),
        ("bench polls", Step(1, "1,000 polls without an error", bench.bench_polls)),
        ("calibrator", Step(1, "159.2 Hz, 10 m/s2 RMS reads 10.0 mm/s within 5 %", bench.calibrator, _SHAKEN)),
        ("temperature", Step(1, "within 1 K of a reference thermometer", bench.temperature, _that_tells("sump temperature"))),
        ("soak", Step(1, "4 h with the whole bus, at most 0.1 % of any device's polls failed", bench.soak, _INSTALLATION)),
        _person(
            "isolation",
            2,
            "isolated, locked out, stored energy released, proved dead",
            Asked(
                "try to start it, and prove it dead at the motor's terminals, with the person who holds the lock: yes or no",
                "stop: nobody works on it until it is isolated, locked out and proved dead",
            ),
        ),
        ("as built", Step(2, "serial as labelled; place within 10 mm, torque, bond and photo of the mark entered", built.as_built)),
        _person(
            "continuity",
            3,
            "each conductor and the screen through from end to end, none shorted to another or to earth",
            Asked(
                "with the power off, buzz out every conductor and the screen: yes or no", "find the break or the short by halves"
            ),
        ),
        _person(
            "termination",
            3,
            "54 to 66 ohm from A to B, power off",
            Asked(
                "measure A to B at one end with the power off, e.g. 60 ohm",
                "about 120 ohm: one terminator is missing; about 40: one too many; far less: a short; look at both ends",
                "resistance",
                54,
                66,
            ),
        ),
        _person(
            "bias",
            3,
            "200 mV and more from A to B, powered, nobody asking",
            Asked(
                "power on, no master: measure A to B, e.g. 250 mV",
                "fit the bias resistors of the plan, at one place only; if it is negative A and B are crossed",
                "voltage",
                0.2,
            ),
        ),
        ("supply at the end", Step(3, "what the devices need, at the farthest, under load", supply, _INSTALLATION, "voltage")),
        _person(
            "earth",
            3,
            "less than 0.1 ohm from each housing and bracket to the earth bar",
            Asked("measure the worst of them, e.g. 0.04 ohm", "clean the joint to bare metal and tighten it", "resistance", 0, 0.1),
        ),
        ("found", Step(4, "whoever answers on the bus is planned, and all who are planned answer", wiring.found, _INSTALLATION)),
        ("link", Step(4, "of 10,000 polls so few fail that at 95 % confidence it is at most 0.1 %", wiring.link, when="both")),
        ("unplugged", Step(4, "unplugged, it alone goes bad within 3 polls, and comes back", wiring.unplugged)),
        (
            "constants",
            Step(5, "its test registers read 0x1234, 123456789 and 123.456", wiring.constants, begins_with_constants, when="both"),
        ),
        ("gravity", Step(5, "0.95 to 1.05 g, standing still", sensors.gravity, _that_tells("gravity"), when="both")),
        (
            "orientation",
            Step(
                6,
                "within 5 degrees of the plan, told apart from every other turn by a tap of 3 to 1 with its sign",
                sensors.orientation,
                _that_tells("gravity"),
                when="both",
            ),
        ),
        ("mount tap", Step(7, "three taps within 1 dB of their mean", mount_tap, _SHAKEN, LEVELS)),
        ("noise", Step(8, "standing still, at most a fifth of the A/B boundary", sensors.noise, _SHAKEN)),
        (
            "inputs",
            Step(
                9,
                "running, speed and load within 0.5 % of a reference, run state right",
                controller.inputs,
                _INPUTS,
            ),
        ),
        _person(
            "guards",
            10,
            "every guard back on, tools out, locks off by those who set them",
            Asked("walk round it once with the person who will start it: yes or no", "nobody starts it until they are"),
        ),
        _person(
            "oil",
            10,
            "oil of the right grade at its mark",
            Asked("read the glass, standing and level: yes or no", "fill up with the grade on the plate before it is started"),
        ),
        _person(
            "first start",
            10,
            "runs in the right direction, no rubbing, no new sound",
            Asked("start it with the crew clear: yes or no", "stop it, lock it out, look at what was last touched"),
        ),
        _person(
            "hot leaks",
            10,
            "no drop at plugs, ports and split line after 15 min, and the level at its mark",
            Asked("look, do not touch, after 15 min of running: yes or no", "stop, lock out, seal again; let it cool first"),
        ),
        ("link at full load", Step(10, "as link, at 90 % of the load and more", wiring.link_at_load)),
        ("noise at full load", Step(10, "its record sound at 90 % of the load and more", record.record_at_load, _with_record)),
        (
            "controller",
            Step(
                11, "the plant controller reads the test registers to the last digit", controller.controller, begins_with_constants
            ),
        ),
        _person(
            "controller bad quality",
            11,
            "with a cable pulled the plant controller shows bad quality for its values and no others",
            Asked("pull one sensor's cable and ask the controls engineer: yes or no", "look at quality word and stale time there"),
        ),
        (
            "light",
            Step(
                12,
                "each colour shows in the read-back; without heartbeat blue or off within 10 s; it comes back by itself",
                light.light,
                _LIGHT,
                when="both",
            ),
        ),
        ("light seen", Step(12, "a person saw each colour", light.light_seen, _LIGHT, when="both")),
        _person(
            "light by a real stimulus",
            12,
            "a limit set below what is there turns the light, and it goes back when the limit does",
            Asked(
                "with the watch running, take a limit below the present reading: yes or no, did the colour come",
                "look at gearcase watch: is the point judged, is the reading fresh, is it shelved",
            ),
            "both",
        ),
        _person(
            "light acknowledged",
            12,
            "acknowledging steadies it, and the condition stays",
            Asked("gearcase acknowledge, and look at the light: yes or no", "look at the diary: who acknowledged what"),
        ),
        _light_alone("service", "stop the watch's service hard (kill -9)"),
        _light_alone("network", "pull the network cable of the edge computer"),
        _light_alone("power", "switch the edge computer's supply off"),
        _person(
            "notification",
            12,
            "it reaches the named person, who says so",
            Asked(
                "gearcase notify, then ask the person by telephone: yes or no, and after a colon who",
                "look at address, password and mail server under notify: in job.yaml",
            ),
            "both",
        ),
        _person(
            "backup",
            12,
            "restored on another computer, and its latest reading is there",
            Asked(
                "gearcase backup here, gearcase restore and verify on another computer: yes or no",
                "a backup that nobody has restored is none: make it again",
            ),
            "both",
        ),
        (
            "record",
            Step(13, "its record is fit to be judged, meshes within 0.2 % of the model", record.record, _with_record, when="both"),
        ),
        _person(
            "baseline started",
            13,
            "the watch takes readings for the baseline",
            Asked("gearcase watch runs as a service (gearcase unit), its light not off: yes or no", "start it before you leave"),
        ),
        ("side by side", Step(13, "within 10 % of a portable instrument", side_by_side, _SHAKEN, "velocity", "yearly")),
        _person(
            "cables",
            13,
            "no chafe, no loose clip, no cut, glands tight, drip loops as they were",
            Asked("walk along every cable: yes or no", "mend it, and prove the devices on it again"),
            "yearly",
        ),
        _person(
            "certificates",
            13,
            "calibration and area certificates are in date",
            Asked("look at each label: yes or no", "change or send in what is over its date"),
            "yearly",
        ),
    )
)
