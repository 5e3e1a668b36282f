"""The build sheets of the sample drives, as a technician would write them."""

from __future__ import annotations

_CAR = """\
units = "mph"
utc_offset = "{utc_offset}"

[car]
label = "Two-seat roadster, green"
chassis = "DEMO 0001"
odometer = "{odometer:.1f} mile"
mass = "790 kg ± 1 %"

[work]
done = [{done}]

[tyres]
{tyres}
"""

_DRIVELINE = """
[gearbox]
label = "five-speed"
ratios = [3.41, 2.08, 1.40, 1.00, 0.82]

[axle]
ratio = {axle}

[[alternatives.gearbox]]
label = "four-speed"
ratios = [3.20, 1.92, 1.36, 1.00]

[[alternatives.axle]]
label = "{other_axle} axle"
ratio = {other_axle}

[engine]
cylinders = 4
idle_rpm = 900
limit_rpm = 5500
"""

_DIALS = """
[speedometer]
units = "mph"
graduation = "2 mph"
drive = "cable"
turns_per_mile = 1000
driven_teeth = {driven_teeth}
available_driven_teeth = [18, 19, 20, 21, 22, 23]

[tach]
graduation = "100 rpm"

[conditions]
temperature = "15 degC"
pressure = "101.3 kPa"
"""

_SHEET = _CAR + _DRIVELINE + _DIALS

_TARGETS = """
[targets]
speedometer = "un-r39"
odometer = "4 %"
gearbox = "1 %"
axle = "1 %"
tach = "3 %"
clutch_slip = "2 %"
cruise_rpm = {{speed = "70 mph", at_most = 3450}}
"""

ROLLED_OUT = 'rolling_circumference = "1.797 m ± 0.005 m"   # rolled out, crew aboard'
BY_SIZE = 'size = "165/80R13"'

BEFORE = (
    _SHEET
    + _TARGETS
    + """\
mfdd = "5.8 m/s^2"
spread = "10 %"
drift = "1.0 m"
rolling_coefficient = "0.020"
"""
)

AFTER = (
    _SHEET
    + _TARGETS
    + """\
mfdd = "un-r13h"
stopping_distance = {{from = "60 mph", at_most = "65 m"}}
fade = "75 %"
drift = "1.0 m"
spread = "10 %"
rolling_coefficient = "0.020"
standing = {{to = "60 mph", at_most = "15 s"}}
through = {{gear = 4, from = "40 mph", to = "60 mph", at_most = "9 s"}}
channel.coolant_temperature = {{at_most = "105 degC"}}
channel.oil_pressure = {{at_least = "1.0 bar"}}
"""
)

PHONE = (
    _SHEET
    + """
[indicated]
speeds = ["30 mph", "40 mph", "50 mph", "60 mph", "70 mph"]

[targets]
speedometer = "gb-iva"
odometer = "4 %"
mfdd = "gb-roadworthiness"
rolling_coefficient = "0.020"
"""
)

MESSY = (
    _SHEET
    + """
[targets]
speedometer = {{under = "0 mph", over = "4 mph"}}
gearbox = "1 %"
axle = "1 %"
clutch_slip = "2 %"
mfdd = "5.8 m/s^2"
fade = "75 %"
drift = "1.0 m"
"""
)

WRONG_GEARBOX = (
    _SHEET
    + """
[targets]
speedometer = "un-r39"
gearbox = "1 %"
axle = "1 %"
tach = "3 %"
mfdd = "0.58 g"
"""
)
