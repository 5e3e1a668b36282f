"""Build sheets that several tests read."""

from roadtest.build_sheet import BuildSheet, read_build_sheet
from roadtest.errors import InputErrors

FULL = """
units = "mph"
utc_offset = "+01:00"
[car]
label = "Two-seat roadster, green"
chassis = "DEMO 0001"
first_used = 1967-05-01
odometer = "41210.0 mile"
mass = "790 kg ± 2 %"
rotating_mass = "3 %"
top_speed = "105 mph"
[work]
done = ["gearbox", "Wheels and tyres", "rear brakes", "exhausts"]
[tyres]
size = "165/80R13"
rolling_circumference = "1.742 m ± 0.005 m"
[gearbox]
label = "five-speed"
ratios = [3.41, 2.08, 1.40, 1.00, 0.82]
reverse = 3.9
[axle]
teeth = [9, 38]
[[alternatives.gearbox]]
label = "four-speed"
ratios = [3.20, 1.92, 1.36, 1]
[[alternatives.axle]]
label = "3.9 axle"
ratio = 3.90
[[alternatives.axle]]
teeth = [10, 41]
ratio = 4.10
[[alternatives.tyres]]
size = "5.20-13"
[engine]
cylinders = 4
idle_rpm = 900
limit_rpm = 5500
[speedometer]
units = "mph"
graduation = "2 mph"
drive = "cable"
turns_per_mile = 1000
driven_teeth = 21
drive_teeth = 6
available_driven_teeth = [18, 19, 20, 21, 22, 23]
available_drive_teeth = [6, 7]
ratio_adapter = 1.0
available_ratio_adapters = [0.95, 1.05]
pulses_per_km = 4000
needle_reset = true
[indicated]
speeds = ["30 mph", "40 mph", "50 mph"]
[tach]
pulses_per_rev = 2
graduation = "100 rpm"
cylinders_setting = 4
[conditions]
temperature = "15 degC ± 2 degC"
pressure = "1013 hPa"
wind = "light, from the west"
[shop]
name = "Demo workshop"
logo = "logo.svg"
signature = "for the workshop"
[targets]
speedometer = {under = "0 mph", over = "3 mph"}
odometer = "4 %"
gearbox = "1 %"
axle = "1 %"
tach = "3 %"
clutch_slip = "2 %"
cruise_rpm = {speed = "70 mph", at_most = 3200}
mfdd = "0.58 g"
stopping_distance = {from = "60 mph", at_most = "51 m"}
fade = "75 %"
drift = "1.0 m"
spread = "10 %"
rolling_coefficient = "0.020"
standing = [{to = "60 mph", at_most = "12 s"}, {to = "30 mph", at_most = "5 s"}]
through = {gear = 4, from = "40 mph", to = "60 mph", at_most = "9 s"}
channel.coolant_temperature = {at_most = "105 degC"}
"channel.oil_pressure" = {at_least = "2 bar", at_most = "7 bar"}
channel.mixture = {at_least = 0.8}
channel.fuel_flow = {at_most = "30 L/h"}
"""


def sheet(text: str) -> BuildSheet:
    """Read a sheet from text."""
    return read_build_sheet(text.encode(), "build.toml")


def faults(text: str | bytes) -> list[str]:
    """Return the fault lines of a sheet that can't be used."""
    data = text.encode() if isinstance(text, str) else text
    try:
        read_build_sheet(data, "build.toml")
    except InputErrors as errors:
        lines = str(errors).split("\n")
        assert lines == [str(fault) for fault in errors.faults]
        assert all(line.startswith("build.toml") for line in lines)
        return [line.removeprefix("build.toml").removeprefix(", ") for line in lines]
    raise AssertionError("the sheet was accepted")
