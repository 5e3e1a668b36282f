"""What a faulty build sheet says: every fault, a line each, and never anything but input errors."""

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadtest.build_sheet import read_build_sheet
from roadtest.errors import InputErrors
from tests.build_sheet.sheets import FULL, faults

STEADY = settings(derandomize=True, deadline=None, max_examples=200)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (
            "[gearbox]\nratio = [3.41]\nratios = [3.41]",
            'gearbox.ratio: unknown key, did you mean "ratios"?; '
            "expected one of label, ratios, reverse",
        ),
        (
            '[car]\nwieght = "790 kg"',
            'car.wieght: unknown key, did you mean "mass"?; expected one of label, chassis, '
            "first_used, odometer, mass, rotating_mass, top_speed",
        ),
        ('units = "kph"', 'units: "kph", did you mean "km/h"?; expected one of "mph", "km/h"'),
        (
            "[gearbox]\nratios = [3.41, 2.08, 2.40, 1.00]",
            "gearbox.ratios[2]: 2.4 after 2.08; "
            "expected each ratio smaller than the one before, first gear first",
        ),
        (
            "[gearbox]\nratios = [3.41, -2.08]",
            "gearbox.ratios[1]: the number -2.08 is out of range; expected a ratio from 0.3 to 20",
        ),
        (
            '[gearbox]\nratios = [3.41, "2.08"]',
            'gearbox.ratios[1]: "2.08"; expected a ratio, a plain number from 0.3 to 20',
        ),
        (
            "[axle]\nratio = 0.42",
            "axle.ratio: the number 0.42 is out of range; expected an axle ratio from 1 to 15",
        ),
        (
            '[tyres]\nrolling_circumference = "24.1 in"',
            'tyres.rolling_circumference: "24.1 in" is out of range; expected a length such as '
            '"1.742 m", from 1 m to 3.5 m',
        ),
        (
            "[speedometer]\nturns_per_mile = 100",
            "speedometer.turns_per_mile: the number 100 is out of range; expected a number of "
            "turns from 200 to 20000",
        ),
        (
            "[engine]\nlimit_rpm = 55",
            "engine.limit_rpm: the number 55 is out of range; expected an engine speed in rpm from "
            "500 to 30000",
        ),
        (
            "[gearbox]\nratios = []",
            "gearbox.ratios: 0 ratios; expected 1 to 12 ratios, first gear first",
        ),
        (
            '[gearbox]\nlabel = "x"',
            "gearbox.ratios: this key is missing; "
            "expected a list of ratios such as [3.41, 2.08, 1.40, 1.00]",
        ),
        (
            "[gearbox]\nratios = 3.41",
            "gearbox.ratios: the number 3.41; "
            "expected a list of ratios such as [3.41, 2.08, 1.40, 1.00]",
        ),
        ('[car]\nmass = "790"', 'car.mass: "790" has no unit; expected a mass such as "790 kg"'),
        (
            "[car]\nmass = 790",
            'car.mass: the number 790; expected a mass such as "790 kg", in quotes',
        ),
        (
            '[car]\nmass = "790 kg ± 900 kg"',
            'car.mass: what is after the "±" of "790 kg ± 900 kg" is too much; expected a mass '
            'such as "790 kg", from 200 kg to 5000 kg with its "±"',
        ),
        (
            '[conditions]\ntemperature = "15 degC ± 200 degC"',
            'conditions.temperature: what is after the "±" of "15 degC ± 200 degC" is too much; '
            'expected a temperature such as "20 degC", from -50 degC to 60 degC with its "±"',
        ),
        (
            '[car]\nmass = "790 mph"',
            'car.mass: "790 mph" is a speed; expected a mass such as "790 kg"',
        ),
        (
            '[car]\nmass = "-790 kg"',
            'car.mass: "-790 kg" is out of range; '
            'expected a mass such as "790 kg", from 200 kg to 5000 kg',
        ),
        (
            "[car]\nlabel = 5",
            "car.label: the number 5; expected one line of text in quotes, at most 200 characters",
        ),
        (
            "[car]\nlabel = 'a'\nchassis = ''",
            "car.chassis: an empty text; "
            "expected one line of text in quotes, at most 200 characters",
        ),
        (
            "[car]\nlabel = '''a\nb'''",
            'car.label: "a b"; expected one line of text in quotes, at most 200 characters',
        ),
        (
            '[car]\nfirst_used = "1967-02-30"',
            'car.first_used: "1967-02-30" is not a day of the calendar; '
            "expected a date such as 1967-05-01",
        ),
        (
            "[car]\nfirst_used = 1967-05-01T10:00:00",
            "car.first_used: a date or time; expected a date such as 1967-05-01",
        ),
        (
            "[axle]\nteeth = [38, 9]",
            "axle.teeth: [38, 9]; expected pinion and crown wheel in this order, such as [9, 38]",
        ),
        (
            "[axle]\nteeth = [0, 38]",
            "axle.teeth[0]: the number 0 is out of range; expected a number of teeth from 1 to 200",
        ),
        (
            "[axle]\nratio = 3.9\nteeth = [9, 38]",
            "axle.teeth: [9, 38], which is 4.222; expected the ratio given, 3.9",
        ),
        (
            "[axle]\nratio = inf",
            "axle.ratio: the number inf is out of range; expected an axle ratio from 1 to 15",
        ),
        (
            "[axle]",
            "axle: neither ratio nor teeth; expected ratio = 4.22, or teeth = [9, 38]",
        ),
        (
            "[tyres]",
            "tyres: neither size nor rolling_circumference; "
            'expected size = "165/80R13", or rolling_circumference = "1.742 m"',
        ),
        (
            '[tyres]\nsize = "165/80"',
            'tyres.size: tyre size "165/80" is not understood; '
            'expected a size such as "165/80R13", "165R13" or "5.20-13"',
        ),
        ('utc_offset = "1:00"', 'utc_offset: "1:00"; expected an offset from UTC such as "+01:00"'),
        (
            "utc_offset = 1",
            'utc_offset: the number 1; expected an offset from UTC such as "+01:00"',
        ),
        ('units = "kmh"', 'units: "kmh", did you mean "km/h"?; expected one of "mph", "km/h"'),
        (
            '[speedometer]\ndrive = "cabel"',
            'speedometer.drive: "cabel", did you mean "cable"?; '
            'expected one of "cable", "electronic", "gps"',
        ),
        (
            "[speedometer]\nturns_per_mile = 1000\nturns_per_km = 600",
            "speedometer.turns_per_km: the number 600, beside turns_per_mile; "
            "expected only one of the two",
        ),
        (
            '[speedometer]\nneedle_reset = "yes"',
            'speedometer.needle_reset: "yes"; expected true or false, without quotes',
        ),
        (
            "[engine]\ncylinders = 4.0",
            "engine.cylinders: the number 4; "
            "expected a number of cylinders, a whole number from 1 to 24",
        ),
        ("[engine]\nstrokes = 3", "engine.strokes: the number 3; expected one of 4, 2"),
        (
            "[engine]\nidle_rpm = 900\nlimit_rpm = 800",
            "engine.limit_rpm: the number 800; expected more than idle_rpm, 900",
        ),
        ("gearbox = 5", "gearbox: the number 5; expected a table of keys"),
        (
            "[[alternatives.gearbox]]\nratios = [2, 1]\n[[alternatives.gearbox]]\nratios = [1, 2]",
            "alternatives.gearbox[1].ratios[1]: 2 after 1; "
            "expected each ratio smaller than the one before, first gear first",
        ),
        (
            "[alternatives]\ngearbox = 3",
            "alternatives.gearbox: the number 3; expected tables under [[alternatives.gearbox]]",
        ),
        (
            f"[axle]\nratio = 0x{'f' * 5000}",
            "axle.ratio: a very large number is out of range; expected an axle ratio from 1 to 15",
        ),
    ],
)
def test_a_fault_is_one_exact_line(text: str, line: str) -> None:
    assert faults(text) == [line]


def test_all_faults_are_reported_at_once() -> None:
    text = """
        units = "km/hh"
        [car]
        mass = "790"
        rotating_mas = "3 %"
        [gearbox]
        ratios = [3.41, 2.08, 2.40]
        [speedometer]
        driven_teeth = 0
        available_driven_teeth = [18, "19"]
        [indicated]
        speeds = ["30 mph", "40"]
        [targets]
        stopping_distance = {form = "60 mph", at_most = "51 kg"}
        axel = "1 %"
    """
    places = [line.split(": ")[0] for line in faults(text)]
    assert sorted(places) == [
        "car.mass",
        "car.rotating_mas",
        "gearbox.ratios[2]",
        "indicated.speeds[1]",
        "speedometer.available_driven_teeth[1]",
        "speedometer.driven_teeth",
        "targets.axel",
        "targets.stopping_distance.at_most",
        "targets.stopping_distance.form",
        "targets.stopping_distance.from",
        "units",
    ]


@pytest.mark.parametrize(
    ("data", "start"),
    [
        (b"[car]\nmass = \n", "line 2, column 8: not TOML: invalid value"),
        (b"[car\n", "line 1, column 5: not TOML: expected ']'"),
        (b'units = "mph"\nunits = "mph"', "end of file: not TOML: cannot overwrite a value"),
        (b"x = 1\n# caf\xe9\n", "line 2: byte 0xe9 is not UTF-8 text; expected a TOML file saved"),
        ("units = 'mph'".encode("utf-16"), "line 1: byte 0xff is not UTF-8 text"),
        (b"#" * 1_000_001, "1000001 bytes; expected a build sheet of at most 1 MB"),
        (b"a = " + b"[" * 5000, "lists or tables too deeply nested"),
        (b"a = " + b"9" * 5000, "not TOML: exceeds the limit"),
        (b"a." * 200_000 + b"b = 1", "line 1: a key of more than 20 parts"),
        (b"\n\n[" + b'"a" . ' * 30 + b"b]", "line 3: a key of more than 20 parts"),
        (b"\x00", "line 1, column 1: not TOML"),
    ],
)
def test_a_file_that_is_no_build_sheet_says_where(data: bytes, start: str) -> None:
    (line,) = faults(data)
    assert line.removeprefix(": ").startswith(start)


@pytest.mark.parametrize(
    "data",
    [
        b"".join(b"k%d = 1\n" % i for i in range(40_000)),
        b"[[alternatives.axle]]\n" * 20_000,
        b"[gearbox]\nratios = [" + b'"a",' * 50_000 + b"]",
        b'"' * 900_000,
        b"x" * 900_000,
    ],
    ids=["keys", "tables", "items", "quotes", "letters"],
)
def test_a_hostile_sheet_ends_soon_and_with_few_lines(data: bytes) -> None:
    begun = time.monotonic()
    lines = faults(data)
    assert time.monotonic() - begun < 20.0  # seen: up to 2 s; the machine may be busy
    assert len(lines) <= 51
    assert len(lines) == 1 or lines[-1] == ": and more faults"


def _one_line_errors_only(data: bytes) -> None:
    try:
        read_build_sheet(data, "build.toml")
    except InputErrors as errors:
        assert errors.faults
        for fault in errors.faults:
            assert str(fault).isprintable()
            assert str(fault).startswith("build.toml")


@STEADY
@given(st.binary(max_size=200))
def test_any_bytes_give_a_sheet_or_input_errors(data: bytes) -> None:
    _one_line_errors_only(data)


@STEADY
@given(st.data())
def test_a_sheet_with_any_stretch_replaced_gives_a_sheet_or_input_errors(
    data: st.DataObject,
) -> None:
    text = FULL.encode()
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 40)))
    new = data.draw(
        st.binary(max_size=10)
        | st.sampled_from(
            [b'"', b"=", b"[", b"]", b"\n", b"0", b"-1", b"1e999", b"nan", b"{}", b"[]", b"''"]
        )
    )
    _one_line_errors_only(text[:start] + new + text[end:])


_KEYS = ["car", "mass", "ratios", "gearbox", "axle", "teeth", "targets", "channel", "mfdd", "size"]
_KEYS += ["speedometer", "standing", "from", "to", "at_most", "alternatives", "x y", "work", "done"]
_SCALARS = (
    st.integers(-(10**30), 10**30).map(str)
    | st.sampled_from(["nan", "inf", "true", "1967-05-01", "07:32:00", '"790 kg"', '"± m"', "''"])
    | st.text(st.characters(codec="utf-8", categories=["L", "N", "P", "S", "Zs"]), max_size=8).map(
        lambda text: "'" + text.replace("'", "") + "'"
    )
)
_KEY_TEXTS = st.sampled_from(_KEYS).map(lambda key: f"'{key}'")
_VALUES = st.recursive(
    _SCALARS,
    lambda inner: (
        st.lists(inner, max_size=3).map(lambda items: "[" + ", ".join(items) + "]")
        | st.dictionaries(_KEY_TEXTS, inner, max_size=3).map(
            lambda table: "{" + ", ".join(f"{key} = {value}" for key, value in table.items()) + "}"
        )
    ),
    max_leaves=8,
)


@STEADY
@given(st.dictionaries(_KEY_TEXTS, _VALUES, max_size=5))
def test_any_toml_gives_a_sheet_or_input_errors(table: dict[str, str]) -> None:
    text = "\n".join(f"{key} = {value}" for key, value in table.items())
    _one_line_errors_only(text.encode())
