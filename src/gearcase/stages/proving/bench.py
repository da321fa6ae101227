"""Proving on the bench, before the outage: whole, addressed, told apart, true, and as good after four hours as at first."""

from gearcase import units
from gearcase.install.map_check import reading_of
from gearcase.stages.proving.session import Device, Proving, Row, failed, left_open, passed
from gearcase.stages.proving.wiring import MOST_ERRORS, counted

__all__ = ["SOAK", "answers", "bench_polls", "calibrator", "identity", "soak", "temperature"]

SOAK = 4 * 3600.0  # s
_BENCH_POLLS = 1000
_CALIBRATED = 10e-3  # m/s, RMS: 10 m/s2 at 159.2 Hz, where the angular frequency is 1000 rad/s
_CALIBRATOR_BAND = 0.05
_EVERY = 1.0  # s between two rounds of the soak
_TOLD_EVERY = 60  # rounds


async def answers(proving: Proving, one: Device) -> Row:
    """Nobody else has its address, and it answers there."""
    same = [device.name for device in proving.job.bus.devices if device.address == one.device.address and device is not one.device]
    if same:
        says = f"{', '.join(same)} has address {one.device.address} too: both answer at once; give each its own, one at a time"
        return failed(f"address {one.device.address} twice", says)
    if one.head:
        return passed(f"unit {one.device.address} answers")
    silent = proving.silence
    heard = sorted(device.address for device in proving.job.bus.devices if device.name not in silent and device.profile)
    others = f"units {', '.join(map(str, heard))} answer, so look" if heard else "no unit answers: look at the gateway first, then"
    says = f"{silent[one.device.name].partition(';')[0]}; {others} at its address, its supply and its stub"
    return failed("no reply", says)


async def identity(proving: Proving, one: Device) -> Row:
    """Its model, and the serial it says it has."""
    said = {role: await proving.identity(one, register) for role in ("model", "serial") for register in one.form.with_role(role)}
    model = one.form.with_role("model")[0]
    wanted = model.text if model.constant is None else f"{model.constant:.15g}"
    if wanted and said["model"] != wanted:
        says = f"model {said['model']} answers where a {one.form.name} ({wanted}) was planned: two devices are exchanged"
        return failed(f"model {said['model']}", says)
    return passed(", ".join(f"{role} {word}" for role, word in said.items()))


async def bench_polls(proving: Proving, one: Device) -> Row:
    """1,000 polls, none failed: on the bench there is no excuse for one."""
    wanted = min(_BENCH_POLLS, proving.polls)
    done, errors, _ = await counted(proving, one, wanted)
    measured = f"{errors} of {done} polls failed"
    if errors:
        return failed(measured, "on the bench none may fail: look at baud and parity, termination, the cable's ends and its screen")
    if done < _BENCH_POLLS:
        return left_open(f"{done} polls are too few: {_BENCH_POLLS} are asked for", measured)
    return passed(measured)


async def calibrator(proving: Proving, one: Device) -> Row:
    """Overall velocity on a calibrator of 159.2 Hz and 10 m/s2 RMS: 10.0 mm/s."""
    loudest = await proving.loudest(one)
    if one.device.point not in proving.said.calibrated:
        return left_open("put the sensor on a calibrator of 159.2 Hz, 10 m/s2 RMS, let it run, then prove it")
    measured = units.show(loudest, "velocity", "mm/s", digits=4)
    if abs(loudest / _CALIBRATED - 1) <= _CALIBRATOR_BAND:
        return passed(measured)
    return failed(
        measured, "10.0 mm/s wanted: look at scale and unit of the profile, RMS against peak, its band, then send it back"
    )


async def temperature(proving: Proving, one: Device) -> Row:
    """Against a reference thermometer."""
    found = (await proving.values(one, "sump temperature"))["sump temperature"] - 273.15
    if proving.said.temperature is None:
        return left_open(f"it reads {found:.1f} °C: no reference thermometer was given", f"{found:.1f} °C")
    off = found - (proving.said.temperature - 273.15)
    measured = f"{found:.1f} °C, {off:+.1f} K of the reference"
    if abs(off) <= 1.0:
        return passed(measured)
    register = one.form.registers["sump temperature"]
    reading = reading_of([register], [found + 273.15], known=proving.said.temperature, within=1 / 3)
    cure = "look at the probe's kind and wiring, its immersion, and the converter's setting"
    return failed(measured, f"{reading.says}: {cure}" if reading.fits else cure)


async def soak(proving: Proving, one: Device) -> Row:
    """The whole bus polled for hours, every device each second: what fails when it is warm fails here."""
    wanted = proving.said.soak
    if wanted is None:
        return left_open("lay the whole bus out with its own cables, leave it on for 4 h and prove it meanwhile: --soak '4 h'")
    rounds = max(int(wanted / _EVERY), 1)
    errors = {each.device.name: 0 for each in proving.devices}
    before = {each.device.name: proving.frames(each)[1] for each in proving.devices}
    for number in range(rounds):
        for each in proving.devices:
            errors[each.device.name] += not await proving.answers(each)
        if number % _TOLD_EVERY == 0:
            left = units.show(wanted - number * _EVERY, "time", "h", digits=3)
            proving.tell(f"soak: {number} of {rounds} rounds, {sum(errors.values())} polls failed, {left} to go")
        await proving.sleep(_EVERY)
    for each in proving.devices:  # a second try that is answered does not make the first one good
        errors[each.device.name] = max(errors[each.device.name], proving.frames(each)[1] - before[each.device.name])
    measured = f"{units.show(wanted, 'time', 'h')}, {rounds} polls of each: {sum(errors.values())} failed"
    worst = {name: count for name, count in errors.items() if count > MOST_ERRORS * rounds}
    if worst:
        named = ", ".join(f"{name} {count}" for name, count in worst.items())
        return failed(measured, f"{named}: change that device or its cable and soak again; what fails on the bench fails on site")
    if wanted < SOAK:
        return left_open("too short: 4 h in one go, warm", measured)
    return passed(measured)
