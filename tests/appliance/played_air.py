"""The shop's air through the kernel: its own driver reads a simulated sensor, the installed daemon reads the driver.

The sensor of humidity is of a module of our own (`kernel/air.c`); the probe beside it, of temperature alone, is the
kernel's driver lm75 on the kernel's own simulated bus, whose chip shows 0 degrees Celsius.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Awaitable

from guest import Rig, pass_running, tell, tell_all
from kernel_parts import build, load

# driver, address, bus
SENSOR, PROBE = ("sht4x", "0x44", "simulated air"), ("lm75", "0x48", "SMBus stub driver")
NONE, SILENT, WRONG_CRC, HELD = range(4)
Air = tuple[float | None, float | None]  # deg C, fraction
NO_AIR: Air = (None, None)
# the driver rounds one part of 65535 of 175 deg C and of 125 % (kernel, drivers/hwmon/sht4x.c)
STEPS = (0.004, 0.00003)


class Sensors:
    """At the guest's buses."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig

    async def plug(self, driver: str, address: str, bus: str, *, out: bool = False) -> None:
        file, told = ("delete_device", address) if out else ("new_device", f"{driver} {address}")
        await self._rig.shell(PLUG.format(driver=driver, bus=bus, file=file, told=told))

    async def measure(self, temperature: float, humidity: float, fault: int = NONE) -> None:
        """deg C and a fraction; returns when the driver, which keeps a value for 2 s, has asked the sensor again."""
        told = {"temperature": round(1e3 * temperature), "humidity": round(1e5 * humidity), "fault": fault}
        await self._rig.shell("".join(SET.format(*pair) for pair in told.items()) + ASKED)


PLUG = r"""
sudo modprobe {driver}
bus=$(dirname "$(grep -l '{bus}' /sys/bus/i2c/devices/i2c-*/name)")
echo {told} | sudo tee "$bus/{file}" >/dev/null
"""
SET = "echo {1} | sudo tee /sys/module/air/parameters/{0} >/dev/null\n"
ASKED = r"""
transfers() { cat /sys/module/air/parameters/transfers; }
before=$(transfers)
while cat /sys/bus/i2c/drivers/sht4x/*/hwmon/hwmon*/temp1_input >/dev/null 2>&1; [ "$(transfers)" = "$before" ]; do
    sleep 0.2
done
"""


async def climate(rig: Rig) -> bool:
    """A result says the air as it was measured when its check began, or nothing; it goes on whatever the sensor does."""
    if lacks := await build(rig):
        return tell("climate", f"not tried: {lacks}", None, None)
    await load(rig, "air")
    await rig.shell("sudo modprobe i2c-stub chip_addr=0x48")
    sensors, parts, good = Sensors(rig), list[float](), True
    log_before = len(await _log(rig))

    async def found(name: str, wanted: Air, *doctor: str, meanwhile: Awaitable[None] | None = None) -> None:
        nonlocal good
        async with rig.client() as path:
            work = asyncio.create_task(rig.check(path))
            await pass_running(path)
            if meanwhile is not None:
                await meanwhile
            finding = await work
        parts.append(rig.missed(finding))
        air = (finding.climate.temperature, finding.climate.humidity) if finding.climate else NO_AIR
        words = await _doctor(rig)
        good &= tell(f"climate, {name}", air, wanted, _same(air, wanted))
        good &= tell(f"climate, {name}: doctor", words, list(doctor), words == list(doctor))

    # the probe is the first by number
    await sensors.plug(*PROBE)
    await found("a probe of temperature alone", PROBED, PROBE_SAYS)
    await sensors.plug(*SENSOR)
    await sensors.measure(*WARM)
    await found("a sensor of humidity beside it", WARM, PROBE_SAYS, "21.5 C, 45 % humidity (sht4x)")
    await sensors.measure(*COLD)
    await found("another air", COLD, PROBE_SAYS, "-3.2 C, 91 % humidity (sht4x)")
    await sensors.measure(*WARM, SILENT)
    await found("no answer beside the probe", PROBED, PROBE_SAYS, WRONG_SAYS)
    await sensors.plug(*PROBE, out=True)
    await rig.shell("sudo systemctl restart sweepgauge")
    await rig.answers()
    await found("no answer", NO_AIR, WRONG_SAYS)
    await sensors.measure(*WARM, WRONG_CRC)
    await found("wrong CRC", NO_AIR, WRONG_SAYS)
    await sensors.measure(*WARM, HELD)
    await found("the bus held", NO_AIR, WRONG_SAYS)
    await sensors.measure(*DRY)
    await found("0 %", NO_AIR, WRONG_SAYS)
    await sensors.measure(4.0, 1.03)  # a wet sensor
    await found("103 %", WET, "4.0 C, 100 % humidity (sht4x)")
    await sensors.measure(*FULL)
    await found("100 %, unplugged in mid-pass", FULL, meanwhile=sensors.plug(*SENSOR, out=True))
    await found("unplugged: as it was at most 17 minutes ago", FULL)
    rows = (await _log(rig))[log_before:]
    strange = [row for row in rows if not any(_same(row, one) for one in (PROBED, WARM, COLD, WET, FULL))]
    told = (await rig.shell("sudo journalctl -b -u sweepgauge -o cat --no-pager")).count(LIES)
    return good & tell_all(
        ("climate: error over give or take, largest", round(max(parts), 2), 1.5, max(parts) < 1.5),
        (f"climate: never measured among {len(rows)} in the log", strange, [], not strange),
        ("climate: lines of lying in the journal", told, 1, told == 1),
    )


PROBED, WARM, COLD = (0.0, None), (21.5, 0.45), (-3.2, 0.91)
DRY, WET, FULL = (20.0, 0.0), (4.0, 1.0), (20.0, 1.0)
PROBE_SAYS, WRONG_SAYS = "0.0 C (lm75)", "the sensor sht4x shows nothing that air can be"
LIES = "shows what no air can be"


def _same(air: Air, wanted: Air) -> bool:
    return all(
        (one is None) == (other is None) and abs((one or 0.0) - (other or 0.0)) <= step
        for one, other, step in zip(air, wanted, STEPS, strict=True)
    )


async def _doctor(rig: Rig) -> list[str]:
    """What it says of the air."""
    done = await asyncio.to_thread(rig.machine.call, "sweepgauge doctor --json", check=False)
    return [one["words"] for one in json.loads(done.stdout)["matters"] if one["about"] == "air"]


async def _log(rig: Rig) -> list[Air]:
    """Of each reading."""
    rows = json.loads(await rig.shell("sudo python3 -", given=ROWS.encode()))
    return [(temperature, humidity) for temperature, humidity in rows]


ROWS = """
import json, sqlite3
db = sqlite3.connect("/var/lib/sweepgauge/sweepgauge.db")
rows = db.execute("SELECT temperature_c, humidity_fraction FROM climate ORDER BY climate_key")
print(json.dumps(rows.fetchall()))
db.close()
"""
