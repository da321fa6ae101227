"""All alarms of a watched drive: each limit in force with its state, what is shelved, what is past its date, and the light they
make.

A limit is held against a reading where it holds: at its speed and load, or brought to its reference by its model. Where none of a
quantity's limits holds, nothing is judged, and that is said. What a limit has found elsewhere stays. An epoch voids every limit;
only a danger that nobody has seen yet stays in the light, through restarts too. Such a danger vouches for nothing: when it is over
it is gone with its limit, and where that was the last one the light is blue.

What persists, grows old or grows warm is measured on the clock that only goes on (`ticks`), so that a clock set back or forward
neither raises an alarm nor starts its count again; dates, shelving and the diary follow the clock on the wall (`now`).
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, replace
from datetime import UTC, datetime
from typing import Any

from gearcase.judge import alarm
from gearcase.judge.alarm import CONDITIONS, RAISED, AlarmEvent, AlarmState, Sample, Thresholds
from gearcase.judge.stack_light import Maintenance, Shelf, Shown, shelved, stack_light
from gearcase.judge.warming import Heat, WarmingModel
from gearcase.monitor.in_force import Held, InForce, Key
from gearcase.monitor.runs import turns
from gearcase.record.store import Event, Reading

__all__ = ["Alarms", "Say"]

_ELSEWHERE = "other operating state"  # a run state in which nothing is judged
_REMIND = 7 * 86400.0  # s before limits pass their date; common practice, no source

Say = Callable[[str, str, str, float | None, dict[str, Any], str], None]  # kind, point, what, when (None: now), details, who


class Alarms:
    """The alarms of a watch.

    Parameters
    ----------
    limits : mapping
        As `in_force` gives them; empty where there is no baseline: then the light is blue.
    say : callable
        Puts an event into the diary.
    """

    def __init__(self, limits: Mapping[Key, InForce], say: Say) -> None:
        self.limits, self._say = limits, say
        self._states = {key: alarm.fresh(key[1], limit.thresholds) for key, limit in limits.items()}
        self._here = dict.fromkeys(limits, True)
        self._void: set[Key] = set()  # whose limit is no more, and whose danger is still to be seen
        self._heat: dict[Key, Heat | None] = {}
        self._shelves: list[Shelf] = []
        self.maintenance: Maintenance | None = None
        self._said: dict[str, str] = {}  # what stands said of a matter, so that it is said once

    def remember(self, event: Event) -> None:
        """Take up what an earlier watch, or a person since then, has left; each alarm under its own limit. `take_up` then says
        which limits are in force.
        """
        if event.kind == "alarm":
            self._recall(event)
        elif event.kind == "epoch":
            self._void_all()
        elif event.kind == "acknowledged":
            self._acknowledge(event)
        elif event.kind == "shelved":
            self._shelve(event)
        elif event.kind in ("maintenance", "maintenance over"):
            self._maintain(event)

    def take_up(self, limits: Mapping[Key, InForce]) -> None:
        """Other limits from now on: what each has found, and what is shelved, carries over, of several the most pressing; a danger
        that nobody has seen stays under its old limit where there is no new one.
        """
        before, old = self._states, self.limits
        found: dict[Key, AlarmState] = {key: alarm.fresh(key[1], limit.thresholds) for key, limit in limits.items()}
        in_force: dict[Key, InForce] = dict(limits)
        for key, state in sorted(before.items(), key=lambda row: CONDITIONS.index(row[1].condition), reverse=True):
            to = key if key in limits else _alike(limits, key)
            if to is None and state.condition == "danger":
                found[key], in_force[key] = state, old[key]
            elif to == key:
                found[key] = replace(state, thresholds=limits[key].thresholds)
            elif to is not None and state.condition != "clear":
                found[to] = replace(
                    before.get(to, state),
                    thresholds=limits[to].thresholds,
                    condition=state.condition,
                    alarmed_at=state.alarmed_at,
                    under_s=state.under_s,
                )
        self._states, self.limits, self._void = found, in_force, found.keys() - limits.keys()
        self._here = {key: self._here.get(key, True) for key in found}

    def hear(self, event: Event) -> None:
        """What a person has declared while the watch runs."""
        if event.kind == "acknowledged":
            for key, said in self._acknowledge(event).items():
                self._keep(key, said, event.time_s)
        elif event.kind == "shelved":
            self._shelve(event)
        elif event.kind in ("maintenance", "maintenance over"):
            self._maintain(event)
        elif event.kind == "epoch" and self._states:
            self._void_all()
            self._say("limits void", "", f"{event.says}; take the baseline again", event.time_s, {}, "")

    def judge(
        self, readings: Iterable[Reading], run_state: str, conditions: Mapping[str, float], *, now: float, ticks: float
    ) -> set[str]:
        """Hold readings against the limits. Returns the points at which an alarm was raised.

        Parameters
        ----------
        readings : iterable of Reading
        run_state : str
        conditions : mapping
            Of `judge.compensation.CONDITIONS` and the ambient temperature [K], those known.
        now, ticks : float
            Unix time, and that of the clock that only goes on. [s]
        """
        listed = {(one.point, one.quantity): one for one in readings}
        for key, limit in self.limits.items():
            if isinstance(limit.model, WarmingModel):
                running = turns(run_state)
                self._heat[key] = limit.model.follow(self._heat.get(key), conditions, running=running, now=ticks)
        held = {key: self._held(key, listed, conditions) for key in self._states}
        over = {key[:2] for key, one in held.items() if _over(one, self.limits[key].thresholds.yellow)}
        raised = set()
        for key, one in held.items():
            reading = listed.get(key[:2])
            self._here[key] = not one.not_here
            if reading is None and not self._states[key].rule.polled:
                continue
            quality = reading.quality if reading else "stale"
            state = _ELSEWHERE if one.not_here and run_state in ("settling", "steady") else run_state
            value = one.value if not one.not_here else reading.value if reading else None
            sample = Sample(ticks, value, quality, state, witness=bool(over - {key[:2]}))
            self._states[key], said = alarm.step(self._states[key], sample, ticks)
            self._keep(key, said, now)
            if any(event.trigger in RAISED for event in said):
                raised.add(key[0])
        self._let_go()
        if run_state == "steady":
            self._say_where(held, now)
        self._remind(now)
        return raised

    def light(self, run_state: str, *, fault_named: bool, now: float, ticks: float) -> str:
        """What the stack light should show at a moment of both clocks. [s]"""
        shown = [self._shown(key, now, ticks) for key in self._states]
        reachable = all(state.bad_polls < alarm.BAD_POLLS for state in self._states.values())
        return stack_light(
            shown, run_state=run_state, fault_named=fault_named, reachable=reachable, maintenance=self.maintained(now)
        )

    def without(self, now: float) -> str:
        """What of the limits keeps the light blue: that there are none, or that some are past their date; else empty."""
        if not self._states.keys() - self._void:
            return "none is in force: take the baseline, and have it accepted"
        return next((says for key in self._states if (says := self._past(key, now))), "")

    def maintained(self, now: float) -> Maintenance | None:
        """The maintenance mode at `now` [s], None where there is none."""
        return self.maintenance if self.maintenance and now < self.maintenance.until_s else None

    def judged(self, ticks: float) -> set[str]:
        """Points of which something was judged by the readings of a moment. [s]"""
        return {key[0] for key, state in self._states.items() if state.judged_s == ticks}

    def conditions(self, *, now: float, ticks: float) -> list[dict[str, Any]]:
        """Every alarm as it stands, as plain data."""
        return [
            {
                "point": key[0],
                "quantity": key[1],
                "limit": key[2],
                "condition": state.condition,
                "light": alarm.light(state, ticks),
                "here": self._here[key],
                "cannot_tell": alarm.cannot_tell(state, ticks) or self._past(key, now),
                "lost": _lost(state),
                "shelved": _shelf_words(shelved(self._shelves, point=key[0], quantity=key[1], condition=state.condition, now=now)),
                "value": state.last.value if state.last else None,
                **asdict(state.thresholds),
            }
            for key, state in self._states.items()
        ]

    def _past(self, key: Key, now: float) -> str:
        """That a limit is past its date, empty where it is not."""
        expires = self.limits[key].expires_s
        return f"expired on {_date(expires)}: take the baseline again, and have it accepted" if now >= expires else ""

    def _held(self, key: Key, listed: Mapping[tuple[str, str], Reading], conditions: Mapping[str, float]) -> Held:
        reading = listed.get(key[:2])
        return self.limits[key].hold(reading.value if reading else None, conditions, self._heat.get(key))

    def _shown(self, key: Key, now: float, ticks: float) -> Shown:
        state = self._states[key]
        # a limit that does not hold here leaves the judging to those that do; where none does, the one that judged last grows old
        of_it = [other for other in self._states if other[:2] == key[:2]]
        last = max(of_it, key=lambda other: self._states[other].judged_s or -math.inf)
        here = self._here[key] or (key == last and not any(self._here[other] for other in of_it))
        out = shelved(self._shelves, point=key[0], quantity=key[1], condition=state.condition, now=now)
        return Shown(alarm.light(state, ticks), state.condition, here, now >= self.limits[key].expires_s, out is not None)

    def _recall(self, event: Event) -> None:
        """What an alarm was when its event was written; under a limit that is none of those in force until `take_up`."""
        given = event.details
        key = event.point, str(given["quantity"]), str(given["limit"])
        trigger = str(given.get("trigger", ""))
        raised_by = given["value"] if trigger in RAISED else None  # entries of earlier versions tell no height but this
        height = given.get("alarmed_at", raised_by)
        before = self._states.get(key) or alarm.fresh(key[1], Thresholds(None, None))
        self._states[key] = alarm.recalled(before, trigger=trigger, condition=str(given["after"]), alarmed_at=height)
        if key not in self.limits:
            self.limits = {**self.limits, key: InForce(self._states[key].thresholds)}
            self._here[key] = True
            self._void.add(key)

    def _void_all(self) -> None:
        """No limit counts any more; a danger that nobody has seen stays."""
        self._states = {key: state for key, state in self._states.items() if state.condition == "danger"}
        self._void = set(self._states)

    def _let_go(self) -> None:
        """What is over of a limit that is no more goes with it, and what has been seen where nothing says when it is over."""
        for key in list(self._void):
            state = self._states[key]
            if state.condition == "clear" or (state.condition != "danger" and state.thresholds == Thresholds(None, None)):
                self._void.discard(key)
                del self._states[key]

    def _acknowledge(self, event: Event) -> dict[Key, tuple[AlarmEvent, ...]]:
        """What a person has seen: of each alarm concerned, what that changes."""
        said = {}
        for key in [key for key in self._states if event.point in ("", key[0])]:
            self._states[key], said[key] = alarm.acknowledge(self._states[key], who=event.who, now=event.time_s)
        return said

    def _shelve(self, event: Event) -> None:
        given = event.details
        self._shelves.append(
            Shelf(event.point, given["quantity"], given["until_s"], event.who, given["reason"], given.get("approver", ""))
        )

    def _maintain(self, event: Event) -> None:
        given = event.details
        self.maintenance = (
            Maintenance(given["until_s"], event.who, given["reason"], given.get("approver", ""))
            if event.kind == "maintenance"
            else None
        )

    def _say_where(self, held: Mapping[Key, Held], now: float) -> None:
        """Where nothing is judged at this speed and load, or limits are widened: said when it begins and when it ends."""
        for point, quantity in dict.fromkeys(key[:2] for key in held):
            of_it = [one for key, one in held.items() if key[:2] == (point, quantity)]
            nowhere = of_it[0].not_here if all(one.not_here for one in of_it) else ""
            widened = max(one.widened_k for one in of_it)
            said = f"no limits here: {nowhere}" if nowhere else ""
            if widened:
                said = f"limits widened: the oil is {widened:.0f} K outside the temperatures they were learned at"
            self._once(f"{point}, {quantity}", point, quantity, said, now)

    def _once(self, matter: str, point: str, what: str, says: str, now: float) -> None:
        before, begins = self._said.get(matter, ""), says.partition(":")[0]
        if begins == before:
            return
        self._said[matter] = begins
        self._say("judging", point, f"{what}: {says or f'{before} no more'}", now, {}, "")

    def _remind(self, now: float) -> None:
        """That limits pass their date, a week before and when they have; that a shelving or maintenance is over."""
        if self.maintenance is not None and now >= self.maintenance.until_s:
            self._say(
                "maintenance over", "", f"its time is over, {self.maintenance.who}'s; alarms count and are told again", now, {}, ""
            )
            self.maintenance = None
        soonest = min((self.limits[key].expires_s for key in self._states), default=math.inf)
        if now >= soonest - _REMIND:
            over = now >= soonest
            says = (
                f"limits {'have expired' if over else 'expire'} on {_date(soonest)}: take the baseline again, and have it accepted"
            )
            if self._said.get("expiry") != says:
                self._said["expiry"] = says
                self._say("limits expire", "", says, now, {}, "")
        for shelf in [shelf for shelf in self._shelves if now >= shelf.until_s]:
            self._shelves.remove(shelf)
            self._say("shelving over", shelf.point, f"{shelf.quantity or 'all alarms'}: counts again", now, {}, "")

    def _keep(self, key: Key, said: Iterable[AlarmEvent], now: float) -> None:
        for one in said:
            details = {
                "quantity": key[1],
                "limit": key[2],
                "trigger": one.trigger,
                "before": one.before,
                "after": one.after,
                "value": one.value,
                "alarmed_at": self._states[key].alarmed_at,
            }
            self._say("alarm", key[0], f"{key[1]}: {one.says}", now, details, one.who)


def _date(time_s: float) -> str:
    return datetime.fromtimestamp(time_s, UTC).date().isoformat()


def _alike(limits: Iterable[Key], key: Key) -> Key | None:
    """Another limit of the same quantity at the same point."""
    return next((one for one in limits if one[:2] == key[:2]), None)


def _over(held: Held, yellow: float | None) -> bool:
    return not held.not_here and held.value is not None and yellow is not None and held.value > yellow


def _lost(state: alarm.AlarmState) -> str:
    """Why what was read before cannot be read or believed now; a limit that has only not been judged yet has lost nothing."""
    if state.bad_polls >= alarm.BAD_POLLS:
        return "its readings are lost or bad"
    return "the sensor is loose or off" if state.loose else ""


def _shelf_words(shelf: Shelf | None) -> str:
    if shelf is None:
        return ""
    until = datetime.fromtimestamp(shelf.until_s, UTC).isoformat(timespec="minutes")
    allowed = f", allowed by {shelf.approver}" if shelf.approver else ""
    return f"until {until} by {shelf.who}{allowed}: {shelf.reason}"
