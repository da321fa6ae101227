"""The working of every line of a drive: from the stated speed through teeth and geometry to the frequency."""

import math
from dataclasses import replace

from gearcase.drive.bearing_lines import bearing_order_spread, bearing_rates, bearing_rings
from gearcase.drive.bearings import Bearing, Candidate, CountRule
from gearcase.drive.line import Line, harmonic_frequency, sideband_frequency
from gearcase.drive.outside_lines import belt_circumference, rated_slip
from gearcase.drive.rates import (
    assembly_phase_frequency,
    belt_driven_speed,
    belt_frequency,
    beside_carrier_frequency,
    carried_mesh_frequency,
    carrier_speed,
    chained_ratio,
    driven_speed,
    gear_mesh_frequency,
    hunting_tooth_frequency,
    member_fault_frequency,
    member_speed,
    mesh_ratio,
    passing_frequency,
    planet_fault_frequency,
    planet_pass_frequency,
    pole_pass_frequency,
    pole_pass_under_converter,
    solved_speed,
    speed_over_ratio,
    twice_converter_frequency,
    twice_supply_frequency,
)
from gearcase.drive.speeds import ShaftOrder, shaft_orders
from gearcase.drive.train import Belt, Drive, Mesh, Motor, PassingPart, mesh_carrier
from gearcase.errors import OutOfRange
from gearcase.worked import Given, Origin, Worked, work

__all__ = ["line_workings"]

Speeds = dict[str, Given | Worked]


def line_workings(drive: Drive, lines: tuple[Line, ...]) -> dict[str, Worked]:
    """Line name -> its working at rated speed."""
    return _Workings(drive).of(lines)


class _Workings:
    """Speeds of the shafts first, then every line from them."""

    def __init__(self, drive: Drive) -> None:
        self.drive = drive
        self.shafts = {shaft.name: shaft for shaft in drive.shafts}
        self.meshes = {mesh.name: mesh for mesh in drive.meshes}
        self.belts = {belt.name: belt for belt in drive.belts}
        self.links = {link.name: link for link in drive.ratio_links}
        self.orders = shaft_orders(drive)
        self.speeds: Speeds = {}
        for name, order in sorted(self.orders.items(), key=lambda item: len(item[1].path)):
            self.speeds[name] = self._speed(name, order)

    def of(self, lines: tuple[Line, ...]) -> dict[str, Worked]:
        bearings = {bearing.name: bearing for bearing in self.drive.bearings}
        parts = {part.name: part for part in self.drive.passing_parts}
        workings: dict[str, Worked] = {}
        for line in lines:
            if line.sideband_rate == "pole_pass" and self.drive.motor is not None:
                workings[line.name] = self._beside_motor_shaft(line, self.drive.motor)
            elif line.kind == "shaft":
                workings[line.name] = _harmonic(line, self.speeds[line.component])
            elif line.kind == "planet":
                workings[line.name] = self._planet_line(line)
            elif line.kind == "planet_pass":
                workings[line.name] = self._planet_pass(line)
            elif line.component in self.meshes:
                workings[line.name] = self._mesh_line(line, self.meshes[line.component])
            elif line.component in self.belts:
                workings[line.name] = self._belt_line(line, self.belts[line.component])
            elif line.component in parts:
                workings[line.name] = self._passing_line(line, parts[line.component])
            elif line.component in bearings:
                workings[line.name] = self._bearing_line(line, bearings[line.component])
            elif self.drive.motor is not None:
                workings[line.name] = self._motor_line(line, self.drive.motor)
        return workings

    def _speed(self, name: str, order: ShaftOrder) -> Given | Worked:
        """Speed of a shaft from those its last step came from, as `shaft_orders` walked."""
        if name == self.drive.reference_shaft:
            return self.drive.speed_given
        if not order.by:
            return Given(f"{name}, held", 0.0, "Hz", Origin.CALCULATED)
        meshes = [self.meshes[joint] for joint in order.by if joint in self.meshes]
        what = f"{name} speed"
        if len(order.by) == 1 and not meshes:
            return self._outside_speed(what, name, order.by[0])
        carriers = {mesh_carrier(mesh, self.shafts) for mesh in meshes}
        if carriers == {""} and len(meshes) == 1:
            (mesh,) = meshes
            from_pinion = mesh.wheel_shaft == name
            driver, driven = _teeth(mesh, pinion=from_pinion), _teeth(mesh, pinion=not from_pinion)
            before = self.speeds[mesh.pinion_shaft if from_pinion else mesh.wheel_shaft]
            return work(what, driven_speed, speed_hz=before, driver_teeth=driver, driven_teeth=driven)
        if len(carriers) == 1 and len(meshes) == len(order.by) and (members := self._members(meshes)) is not None:
            return self._set_speed(what, name, carriers.pop(), members, meshes)
        through = f"order of {name} through {', '.join(order.by)}"
        solved = Given(through, order.order, "-", order.origin, order.spread * abs(order.order))
        return work(what, solved_speed, speed_hz=self.drive.speed_given, order=solved)

    def _outside_speed(self, what: str, name: str, joint: str) -> Worked:
        if joint in self.belts:
            belt = self.belts[joint]
            unit = "-" if belt.toothed else "m"
            sizes = [
                Given(f"{side} of {belt.name}", size, unit, belt.origin, 0.0, belt.where)
                for side, size in (("driver", belt.driver_size), ("driven", belt.driven_size))
            ]
            if name == belt.driver_shaft:
                sizes.reverse()
            slipping = belt.slip_spread * sizes[1].value  # the spread of slip, carried by one of the sizes
            sizes[1] = Given(sizes[1].name, sizes[1].value, unit, belt.origin, slipping, belt.where)
            before = self.speeds[belt.driver_shaft if name == belt.driven_shaft else belt.driven_shaft]
            return work(what, belt_driven_speed, speed_hz=before, driver_size=sizes[0], driven_size=sizes[1])
        link = self.links[joint]
        downwards = link.slow_shaft == name
        ratio = Given(link.name, link.ratio, "-", link.origin, link.spread, link.where)
        if not downwards:
            ratio = Given(f"1 / {link.name}", 1 / link.ratio, "-", link.origin, link.spread / link.ratio**2, link.where)
        before = self.speeds[link.fast_shaft if downwards else link.slow_shaft]
        return work(what, speed_over_ratio, speed_hz=before, ratio=ratio)

    def _members(self, meshes: list[Mesh]) -> tuple[str, str] | None:
        """The two members a row of meshes leads between; None where they are no row."""
        ends = [side for mesh in meshes for side in (mesh.pinion_shaft, mesh.wheel_shaft)]
        loose = [side for side in dict.fromkeys(ends) if ends.count(side) == 1]
        return (loose[0], loose[1]) if len(loose) == 2 else None

    def _set_speed(self, what: str, name: str, carrier: str, members: tuple[str, str], meshes: list[Mesh]) -> Worked:
        """Willis: the members' speeds as the carrier sees them are in the ratio of the meshes between."""
        first, second = members if name in (carrier, members[0]) else members[::-1]
        ratio = self._ratio(second, meshes)
        if name == carrier:
            return work(what, carrier_speed, first_hz=self._signed(first), second_hz=self._signed(second), ratio=ratio)
        return work(what, member_speed, other_hz=self._signed(second), carrier_hz=self._signed(carrier), ratio=ratio)

    def _ratio(self, start: str, meshes: list[Mesh]) -> Worked:
        """Relative speeds along a row of meshes, from the member it starts at to the other."""
        left, here, ratio = list(meshes), start, None
        while left:
            mesh = next(mesh for mesh in left if here in (mesh.pinion_shaft, mesh.wheel_shaft))
            left.remove(mesh)
            from_pinion = here == mesh.pinion_shaft
            step = work(
                f"ratio of {mesh.name}",
                mesh_ratio,
                from_teeth=_teeth(mesh, pinion=from_pinion),
                to_teeth=_teeth(mesh, pinion=not from_pinion),
                sense=_count(
                    "sense: " + ("internal" if mesh.kind == "internal" else "external"), 1 if mesh.kind == "internal" else -1
                ),
            )
            ratio = step if ratio is None else work(f"ratio to {mesh.name}", chained_ratio, first=ratio, second=step)
            here = mesh.wheel_shaft if from_pinion else mesh.pinion_shaft
        if ratio is None:
            raise OutOfRange("meshes", "none", "a row of one mesh or more")
        return ratio

    def _signed(self, name: str) -> Given | Worked:
        speed = self.speeds[name]
        if self.orders[name].order < 0:
            return Given(f"{name} speed, turning back", -speed.value, "Hz", speed.origin, speed.spread)
        return speed

    def _mesh_rate(self, mesh: Mesh) -> Worked:
        by_pinion = mesh.pinion_teeth is not None and mesh.pinion_shaft in self.speeds
        shaft = mesh.pinion_shaft if by_pinion else mesh.wheel_shaft
        carrier = mesh_carrier(mesh, self.shafts)
        name, teeth = f"{mesh.name} 1x", _teeth(mesh, pinion=by_pinion)
        if carrier:
            return work(name, carried_mesh_frequency, speed_hz=self._signed(shaft), teeth=teeth, carrier_hz=self._signed(carrier))
        return work(name, gear_mesh_frequency, speed_hz=self.speeds[shaft], teeth=teeth)

    def _mesh_line(self, line: Line, mesh: Mesh) -> Worked:
        fundamental = self._mesh_rate(mesh)
        if line.kind == "mesh":
            return fundamental if line.harmonic == 1 else _harmonic(line, fundamental)
        if line.kind == "sideband":
            return work(
                line.name,
                sideband_frequency,
                fundamental_hz=fundamental,
                harmonic=_count("harmonic", line.harmonic),
                modulation_hz=self._modulation(line.sideband_shaft),
                pair=_count("pair", line.sideband_pair),
            )
        if line.kind == "member_tooth":
            member = next(side for side in (mesh.pinion_shaft, mesh.wheel_shaft) if not self.shafts[side].carrier)
            once = work(
                line.name.removesuffix(f"{line.harmonic}x") + "1x",
                member_fault_frequency,
                mesh_hz=fundamental,
                teeth=_teeth(mesh, pinion=member == mesh.pinion_shaft),
                planets=self._planets(mesh),
            )
            return once if line.harmonic == 1 else _harmonic(line, once)
        calculator = hunting_tooth_frequency if line.kind == "hunting_tooth" else assembly_phase_frequency
        return work(
            line.name,
            calculator,
            mesh_hz=fundamental,
            pinion_teeth=_teeth(mesh, pinion=True),
            wheel_teeth=_teeth(mesh, pinion=False),
        )

    def _modulation(self, shaft: str) -> Given | Worked:
        return self._planet_rate(shaft) if self.shafts[shaft].carrier else self.speeds[shaft]

    def _planet_rate(self, planet: str) -> Worked:
        """Turns of a planet as its carrier sees them: its mesh over its teeth."""
        mesh = next(mesh for mesh in self.drive.meshes if planet in (mesh.pinion_shaft, mesh.wheel_shaft) and _whole(mesh))
        return work(
            f"{planet} 1x",
            planet_fault_frequency,
            mesh_hz=self._mesh_rate(mesh),
            teeth=_teeth(mesh, pinion=planet == mesh.pinion_shaft),
        )

    def _planet_line(self, line: Line) -> Worked:
        once = self._planet_rate(line.component)
        return once if line.harmonic == 1 else _harmonic(line, once)

    def _planets(self, mesh: Mesh) -> Given:
        count = max(self.shafts[side].count for side in (mesh.pinion_shaft, mesh.wheel_shaft))
        return Given(f"planets of {mesh.group or mesh.name}", float(count), "-", mesh.origin, 0.0, mesh.where)

    def _planet_pass(self, line: Line) -> Worked:
        planet = line.name.removesuffix(f" pass {line.harmonic}x")
        mesh = next(mesh for mesh in self.drive.meshes if planet in (mesh.pinion_shaft, mesh.wheel_shaft))
        passing = {"carrier_hz": self.speeds[line.component], "planets": self._planets(mesh)}
        once = work(f"{planet} pass 1x", planet_pass_frequency, **passing)
        return once if line.harmonic == 1 else _harmonic(line, once)

    def _bearing_line(self, line: Line, bearing: Bearing) -> Worked:
        if line.kind != "sideband":
            fundamental = self._bearing_rate(line.kind, line.candidate, bearing)
            return fundamental if line.harmonic == 1 else _harmonic(line, fundamental)
        modulation: Given | Worked
        if line.sideband_rate:
            modulation = self._bearing_rate(line.sideband_rate, line.candidate, bearing)
        else:
            modulation = self._turning(line.sideband_shaft, bearing)
        return work(
            line.name,
            sideband_frequency,
            fundamental_hz=self._bearing_rate(line.sideband_of, line.candidate, bearing),
            harmonic=_count("harmonic", line.harmonic),
            modulation_hz=modulation,
            pair=_count("pair", line.sideband_pair),
        )

    def _turning(self, shaft: str, bearing: Bearing) -> Given | Worked:
        """Turns of a shaft in a bearing: those of a planet on its pin as its carrier sees them."""
        on_pin = self.shafts[shaft].carrier in (bearing.inner_shaft, bearing.outer_shaft)
        return self._planet_rate(shaft) if on_pin else self.speeds[shaft]

    def _bearing_rate(self, kind: str, make: str, bearing: Bearing) -> Worked:
        candidate = next(one for one in bearing.candidates if one.name == make)
        shape, part = candidate.shape, f"{bearing.name} ({candidate.name})" if candidate.name else bearing.name
        seen = bearing_rings(self.drive, bearing, self.orders)
        if seen is None:
            raise OutOfRange("bearing", repr(bearing.name), "a bearing whose rings' speeds are known, as its line says")

        def ring(shaft: str | None, name: str) -> Given | Worked:
            if shaft is None:
                return Given(f"{name}, held", 0.0, "Hz", Origin.CALCULATED)
            if shaft == seen.carrier:
                return Given(f"{name}, on the carrier from which it is seen", 0.0, "Hz", Origin.CALCULATED)
            speed = self._turning(shaft, bearing)
            if seen.carrier or self.orders[shaft].order >= 0 or None in (bearing.inner_shaft, bearing.outer_shaft):
                return speed  # one ring stands: which way the other turns does not matter
            return Given(f"{shaft} speed, turning back", -speed.value, "Hz", speed.origin, speed.spread)

        rings = {"inner_hz": ring(bearing.inner_shaft, "inner ring"), "outer_hz": ring(bearing.outer_shaft, "outer ring")}
        sizes = _sizes(part, candidate, bearing.where)
        exact = {key: replace(size, spread=0.0) for key, size in sizes.items()}
        by_speed = work(f"{part} {kind.replace('_', ' ')} 1x", bearing_rates(shape)[kind], **rings, **exact)
        by_shape = bearing_order_spread(kind, seen.orders, shape) * by_speed.value
        # count and sizes are not independent, more elements are smaller ones: their spread is the line's, not from moving each
        return replace(by_speed, spread=math.hypot(by_speed.spread, by_shape), inputs={**rings, **sizes})

    def _belt_line(self, line: Line, belt: Belt) -> Worked:
        speed = self.speeds[belt.driver_shaft]
        size = Given(f"driver of {belt.name}", belt.driver_size, "-", belt.origin, 0.0, belt.where)
        if line.kind == "passing":
            once = work(f"{belt.name} teeth 1x", gear_mesh_frequency, speed_hz=speed, teeth=size)
        else:
            round_it = Given(
                f"pitch circumference of the driver of {belt.name}", belt_circumference(belt), "-", belt.origin, 0.0, belt.where
            )
            length = Given(f"length of {belt.name}", belt.length or 0.0, "-", belt.origin, 0.0, belt.where)
            once = work(f"{belt.name} turn 1x", belt_frequency, speed_hz=speed, circumference=round_it, length=length)
        return once if line.harmonic == 1 else _harmonic(line, once)

    def _passing_line(self, line: Line, part: PassingPart) -> Worked:
        count = Given(f"{part.name} a turn", part.count, "-", part.origin, 0.0, part.where)
        once = work(f"{part.name} 1x", passing_frequency, speed_hz=self.speeds[part.shaft], count=count)
        return once if line.harmonic == 1 else _harmonic(line, once)

    def _pole_pass(self, motor: Motor) -> Worked:
        supply, poles = _plate(motor, "supply", motor.supply_hz, "Hz"), _plate(motor, "poles", float(motor.poles), "-")
        name = "motor pole pass"
        if not motor.converter:
            return work(name, pole_pass_frequency, supply_hz=supply, poles=poles, speed_hz=self.speeds[motor.shaft])
        rated = _plate(motor, "rated speed", motor.rated_speed_hz or 0.0, "Hz")
        load = Given("load, a share of the rated torque", 0.5, "-", Origin.ASSUMED, 0.5)
        return work(name, pole_pass_under_converter, supply_hz=supply, poles=poles, rated_hz=rated, load=load)

    def _beside_motor_shaft(self, line: Line, motor: Motor) -> Worked:
        return work(
            line.name,
            sideband_frequency,
            fundamental_hz=self.speeds[motor.shaft],
            harmonic=_count("harmonic", line.harmonic),
            modulation_hz=self._pole_pass(motor),
            pair=_count("pair", line.sideband_pair),
        )

    def _motor_line(self, line: Line, motor: Motor) -> Worked:
        supply, poles = _plate(motor, "supply", motor.supply_hz, "Hz"), _plate(motor, "poles", float(motor.poles), "-")
        turning = self.speeds[motor.shaft]
        if motor.converter:
            slip_hz, off_hz = rated_slip(motor)
            slip = _plate(motor, "lag behind the field", slip_hz, "Hz", off_hz)
            twice = work("motor supply 2x", twice_converter_frequency, speed_hz=turning, poles=poles, slip_hz=slip)
        else:
            twice = work("motor supply 2x", twice_supply_frequency, supply_hz=supply)
        if line.kind == "supply":
            return twice if line.harmonic == 1 else _harmonic(line, twice)
        if line.kind == "pole_pass":
            return self._pole_pass(motor)
        carrier = _plate(motor, "converter carrier", motor.carrier_hz or 0.0, "Hz")
        if line.order == 0:
            return _harmonic(line, carrier)
        pair = _count("pair", round(line.order / (motor.poles * abs(self.orders[motor.shaft].order))))
        return work(line.name, beside_carrier_frequency, carrier_hz=carrier, twice_output_hz=twice, pair=pair)


def _plate(motor: Motor, name: str, value: float, unit: str, spread: float = 0.0) -> Given:
    return Given(f"{name} of the motor", value, unit, motor.origin, spread, motor.where)


def _whole(mesh: Mesh) -> bool:
    return mesh.pinion_teeth is not None and mesh.wheel_teeth is not None


def _teeth(mesh: Mesh, *, pinion: bool) -> Given:
    count = mesh.pinion_teeth if pinion else mesh.wheel_teeth
    side = "pinion" if pinion else "wheel"
    return Given(f"teeth of the {mesh.name} {side}", float(count or 0), "-", mesh.origin, 0.0, mesh.where)


def _count(name: str, value: int) -> Given:
    return Given(name, float(value), "-", Origin.CALCULATED)


def _harmonic(line: Line, fundamental: Given | Worked) -> Worked:
    number = _count("harmonic", line.harmonic)
    return work(line.name, harmonic_frequency, fundamental_hz=fundamental, harmonic=number)


def _sizes(part: str, candidate: Candidate, where: str) -> dict[str, Given]:
    """What the bearing rates need; of an estimate each with the half-width in which it lies."""
    shape = candidate.shape
    if isinstance(shape, CountRule):
        return {"elements": Given(f"elements of {part}", float(shape.elements), "-", shape.origin, 0.0, where)}
    known = f", estimated from {candidate.designation}" if shape.between else ""

    def size(name: str, key: str, unit: str) -> Given:
        value = float(getattr(shape, key))
        spread = max((abs(getattr(end, key) - value) for end in shape.between), default=0.0)
        return Given(f"{name} of {part}{known}", value, unit, shape.origin, spread, where)

    return {
        "elements": size("elements", "elements", "-"),
        "element_diameter": size("element diameter", "element_diameter", "m"),
        "pitch_diameter": size("pitch diameter", "pitch_diameter", "m"),
        "contact_angle": size("contact angle", "contact_angle", "rad"),
    }
