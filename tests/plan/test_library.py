"""Every shipped part can be used and is plausible; a person's own folder is laid over the library."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from solarvent.base.errors import PartError
from solarvent.plan.library import KINDS, LARGEST_FILE, Library, profiles, read_toml, wire_id
from solarvent.plan.parts import RECORDS, Cover, Fan, Opening, Panel, Wire

ENTRIES = [(kind, name) for kind in KINDS for name in Library().entries(kind)]
#: It bears what kits print on it, "12 to 18 V"; others a quarter more than their rated voltage.
FAN_OF_KITS = "fan-12v-120x25-wide"
CFM = 0.3048**3 / 60
MM_WATER = 9.80665


def records(kind: str) -> dict[str, Any]:
    return {name: RECORDS[kind].model_validate(entry) for name, entry in Library().entries(kind).items()}


def named(kind: str) -> list[Any]:
    return [pytest.param(record, id=name) for name, record in records(kind).items()]


def test_the_kinds_of_part_are_those_with_a_record() -> None:
    assert set(RECORDS) == set(KINDS)
    assert len(set(KINDS)) == len(KINDS)


@pytest.mark.parametrize(("kind", "name"), ENTRIES)
def test_every_entry_is_valid_and_says_what_it_is(kind: str, name: str) -> None:
    entry = Library().get(kind, name)
    record = RECORDS[kind].model_validate(entry)
    assert record.name
    assert entry["source"], "a source, or the word typical"
    assert not record.id, "the id is the name of the table"
    assert name == name.lower()


def test_words_of_the_records_name_entries_that_are_there() -> None:
    library = Library()
    for record in records("leads").values():
        library.get("wires", record.wire)
        if record.diode:
            library.get("diodes", record.diode)
    for record in records("splitters").values():
        library.get("wires", record.wire)
    for fan in records("fans").values():
        library.get("openings", fan.outlet_opening)


# Panels


@pytest.mark.parametrize("panel", [param for param in named("panels") if param.values[0].v_oc is not None])
def test_a_plate_agrees_with_itself(panel: Panel) -> None:
    assert panel.v_mp * panel.i_mp == pytest.approx(panel.watts, rel=0.02)
    assert 0.70 <= panel.watts / (panel.v_oc * panel.i_sc) <= 0.78  # common practice for crystalline cells
    # Crystalline silicon: 0.55 to 0.65 V open and 0.45 to 0.55 V at the best point, a cell (common practice).
    assert 0.55 <= panel.v_oc / panel.cells_in_series <= 0.65
    assert 0.45 <= panel.v_mp / panel.cells_in_series <= 0.55


@pytest.mark.parametrize("panel", named("panels"))
def test_coefficients_and_temperatures_are_those_of_crystalline_silicon(panel: Panel) -> None:
    # Bands seen over many data sheets of modules qualified to IEC 61215.
    assert -0.0036 <= panel.beta_voc <= -0.0027
    assert 0.0004 <= panel.alpha_sc <= 0.0007
    assert 43 <= panel.noct <= 47


@pytest.mark.parametrize("panel", [param for param in named("panels") if param.values[0].width is not None])
def test_no_panel_is_smaller_than_its_watts_need(panel: Panel) -> None:
    # 60 to 210 W/m2 of gross area: below 24 % of efficiency even without a frame (common practice).
    assert 60 <= panel.watts / (panel.width * panel.height) <= 210


# Fans


@pytest.mark.parametrize("fan", named("fans"))
def test_voltages_of_a_fan_stand_in_order(fan: Fan) -> None:
    assert fan.stop_voltage < fan.start_voltage < fan.rated_voltage <= fan.maximum_voltage
    assert 0.55 <= fan.stop_voltage / fan.start_voltage <= 0.9
    assert fan.maximum_voltage <= (1.5 if fan == records("fans")[FAN_OF_KITS] else 1.25) * fan.rated_voltage
    assert (fan.motor == "brushed") <= (fan.standing == "held")
    # Locked-rotor over running current on data sheets of small brushless fans: 1.1 to 6.5.
    assert 1.1 <= fan.locked_rotor_ratio <= 6.5


@pytest.mark.parametrize("fan", named("fans"))
def test_no_fan_makes_more_air_power_than_it_draws(fan: Fan) -> None:
    # A quadratic curve gives its most air power, 2/(3 sqrt 3) of the product of its ends, at 0.58 of the free flow.
    air_power = 2 / (3 * math.sqrt(3)) * fan.free_air_flow * fan.shutoff_pressure
    assert air_power / (fan.rated_voltage * fan.rated_current) < 0.6


#: Bands of generic 12 V fans, 25 mm deep: cfm, mm of water, A (catalogue ranges, from memory, no source).
BANDS = {
    80: ((25, 45), (2, 5), (0.08, 0.25)),
    92: ((25, 55), (1.5, 4.5), (0.1, 0.25)),
    120: ((45, 95), (1, 4), (0.1, 0.35)),
    140: ((55, 110), (1, 2.5), (0.1, 0.35)),
}


@pytest.mark.parametrize("size", BANDS)
def test_a_plain_12_volt_fan_lies_in_the_catalogue_range(size: int) -> None:
    flow, pressure, current = BANDS[size]
    fan = records("fans")[f"fan-12v-{size}x25"]
    assert fan.size == pytest.approx(size / 1000)
    assert flow[0] <= fan.free_air_flow / CFM <= flow[1]
    assert pressure[0] <= fan.shutoff_pressure / MM_WATER <= pressure[1]
    assert current[0] <= fan.rated_current <= current[1]
    assert 5.5 <= fan.start_voltage <= 7.5  # about 6.5 V: trade notes


@pytest.mark.parametrize("name", ["fan-usb-80", "fan-usb-120"])
def test_a_usb_fan_lies_in_the_catalogue_range(name: str) -> None:
    fan = records("fans")[name]  # typical of 5 V fans of 80 to 120 mm, from memory, no source
    assert 0.1 <= fan.rated_current <= 0.35
    assert 15 <= fan.free_air_flow / CFM <= 50
    assert 1.0 <= fan.shutoff_pressure / MM_WATER <= 1.5
    assert 2.5 <= fan.start_voltage <= 4.5


@pytest.mark.parametrize("size", ["120x25", "120x38", "172x51"])
def test_a_24_volt_fan_moves_the_air_of_its_12_volt_sister_on_half_the_current(size: str) -> None:
    fans = records("fans")
    small, large = fans[f"fan-12v-{size}"], fans[f"fan-24v-{size}"]
    assert large.rated_current == pytest.approx(small.rated_current / 2)
    assert (large.free_air_flow, large.shutoff_pressure) == (small.free_air_flow, small.shutoff_pressure)


def test_no_24_volt_fan_is_over_volted_by_a_12_volt_panel_in_the_cold() -> None:
    panel = records("panels")["panel-30w"]
    coldest = panel.v_oc * (1 + panel.beta_voc * (-30 - 25))
    assert all(fan.maximum_voltage > coldest for name, fan in records("fans").items() if "24v" in name)


# Wires


@pytest.mark.parametrize("gauge", range(10, 30, 2))
def test_gauges_follow_their_geometry(gauge: int) -> None:
    wire: Wire = records("wires")[f"awg-{gauge}"]
    diameter = 0.127e-3 * 92 ** ((36 - gauge) / 39)  # ASTM B258
    area = math.pi / 4 * diameter**2
    assert wire.area == pytest.approx(area, rel=4e-3)  # three digits
    assert wire.resistance_per_metre == pytest.approx(1.7241e-8 / area, rel=3e-3)  # IEC 60028, annealed copper


#: IEC 60228, class 5, plain copper: largest resistance at 20 degC. [ohm/km]
IEC_60228 = {"0.5": 39.0, "0.75": 26.0, "1": 19.5, "1.5": 13.3, "2.5": 7.98, "4": 4.95, "6": 3.30}


@pytest.mark.parametrize(("size", "resistance"), IEC_60228.items())
def test_square_millimetres_follow_the_standard(size: str, resistance: float) -> None:
    wire: Wire = records("wires")[f"mm2-{size}"]
    assert wire.resistance_per_metre == pytest.approx(resistance / 1000, rel=1e-12)
    assert wire.area == pytest.approx(float(size) * 1e-6)


def test_small_conductors_are_held_to_the_code() -> None:
    limits = {18: 7, 16: 10, 14: 15, 12: 20, 10: 30}  # NEC 240.4(D)
    for gauge, limit in limits.items():
        assert records("wires")[f"awg-{gauge}"].ampacity == limit


@pytest.mark.parametrize("family", ["awg-", "mm2-"])
def test_more_copper_means_less_resistance_and_more_current(family: str) -> None:
    wires = sorted((wire for name, wire in records("wires").items() if name.startswith(family)), key=lambda w: w.area)
    resistances = [wire.resistance_per_metre for wire in wires]
    limits = [wire.ampacity for wire in wires]
    assert resistances == sorted(resistances, reverse=True)
    assert limits == sorted(limits)


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("18 AWG", "awg-18"),
        ("18awg", "awg-18"),
        ("AWG 18", "awg-18"),
        ("awg-18", "awg-18"),
        ("0.75 mm2", "mm2-0.75"),
        ("0.75mm²", "mm2-0.75"),
        ("1.0 mm2", "mm2-1"),
        ("mm2-0.75", "mm2-0.75"),
    ],
)
def test_a_gauge_may_be_written_as_people_do(written: str, key: str) -> None:
    assert wire_id(written) == key
    assert Library().get("wires", written)


# Diodes, covers, openings


@pytest.mark.parametrize(
    ("name", "current", "drop"), [("schottky-3a", 1.0, 0.35), ("silicon-1a", 1.0, 0.75), ("silicon-1a", 0.1, 0.65)]
)
def test_a_diode_drops_what_its_kind_drops(name: str, current: float, drop: float) -> None:
    diode = records("diodes")[name]  # 0.3 to 0.5 V Schottky, 0.7 V silicon: common practice
    assert diode.slope_voltage * math.log1p(current / diode.saturation_current) == pytest.approx(drop, abs=0.01)


#: ANSI/ASAE EP406.4, Heating, Ventilating and Cooling Greenhouses, its list of overall coefficients as the ASHRAE
#: Handbook, HVAC Applications, repeats it; from memory. [Btu/(h ft2 F)]
EP406 = {
    "single-glass": (1.10, 1.13),
    "film-single": (1.1, 1.2),
    "film-double": (0.70, 0.70),
    "film-double-infrared": (0.50, 0.50),
    "acrylic-double": (0.56, 0.56),
    "twin-wall-6mm": (0.56, 0.63),
    "twin-wall-10mm": (0.56, 0.63),
    "double-glass": (0.65, 0.65),
}


@pytest.mark.parametrize(("name", "band"), EP406.items())
def test_covers_lose_the_heat_that_the_standard_lists(name: str, band: tuple[float, float]) -> None:
    cover: Cover = records("covers")[name]
    assert 0.95 * band[0] <= cover.u_value / 5.678263 <= 1.05 * band[1]


@pytest.mark.parametrize(
    ("name", "porosity", "velocity", "drop"),
    [
        ("insect-screen-medium", 0.350, 0.25, 0.875),
        ("insect-screen-fine", 0.263, 0.25, 1.645),
        ("insect-screen-coarse", 0.360, 0.25, 0.355),
    ],
)
def test_insect_screens_resist_as_measured(name: str, porosity: float, velocity: float, drop: float) -> None:
    # López, A., Molina-Aiz, F. D., Valera, D. L. & Peña, A. (2016), Wind tunnel analysis of the airflow through
    # insect-proof screens, Sensors 16(5), 690: discharge coefficients; the drop is 1/2 rho (v / Cd)^2 with 1.2 kg/m3.
    screen: Opening = records("openings")[name]
    coefficient = screen.discharge_coefficient * screen.free_share
    assert 0.5 * 1.2 * (velocity / coefficient) ** 2 == pytest.approx(drop, rel=5e-3)
    assert coefficient < porosity


@pytest.mark.parametrize("name", ["plain-hole", "sharp-hole"])
def test_a_bare_hole_has_the_coefficient_of_an_orifice(name: str) -> None:
    assert 0.60 <= records("openings")[name].discharge_coefficient <= 0.65


# The folder laid over it, and files that cannot be used


def write(folder: Path, name: str, text: str) -> Path:
    (folder / name).write_text(text, encoding="utf-8")
    return folder


def test_an_own_entry_wins_and_the_others_stay(tmp_path: Path) -> None:
    write(tmp_path, "panels.toml", 'parts_version = 1\n[panel-20w]\nwatts = "19 W"\n[mine]\nwatts = "7 W"\n')
    library = Library(tmp_path)
    assert library.get("panels", "panel-20w") == {"watts": "19 W"}
    assert library.get("panels", "mine") == {"watts": "7 W"}
    assert library.get("panels", "panel-10w") == Library().get("panels", "panel-10w")
    assert Library().get("panels", "panel-20w")["watts"] == "20 W", "the overlay must not leak into the library"


def test_a_part_that_is_not_there_is_told_with_the_nearest() -> None:
    with pytest.raises(PartError, match='no "panel-21w" among the panels; did you mean "panel-20w"'):
        Library().get("panels", "panel-21w")
    with pytest.raises(PartError, match='no "zzz" among the'):
        Library().get("fans", "zzz")
    with pytest.raises(PartError, match='"fan" is no kind of part; did you mean "fans"'):
        Library().entries("fan")


@pytest.mark.parametrize(
    ("file", "text", "message"),
    [
        ("fan.toml", "parts_version = 1", '"fan" is no kind of part; did you mean "fans"'),
        ("fans.toml", "", "it has no parts_version; write parts_version = 1"),
        ("fans.toml", "parts_version = 9", "parts_version is 9"),
        ("fans.toml", "parts_version = 1\nmine = 3", r"an entry is a table; begin it with \[mine\]"),
        ("wires.toml", 'parts_version = 1\n[mm2-0.4]\narea = "0.4 mm2"', r"stands in quotes: \[\"mm2-0.4\"\]"),
        ("fans.toml", "parts_version = 1\n[mine\n", "line 2: cannot read"),
    ],
)
def test_a_broken_folder_of_parts_is_told(tmp_path: Path, file: str, text: str, message: str) -> None:
    write(tmp_path, file, text)
    with pytest.raises(PartError, match=message):
        Library(tmp_path)


def test_an_overlay_that_is_no_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(PartError, match="this is not a folder of parts"):
        Library(tmp_path / "nowhere")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"a" * (LARGEST_FILE + 1), "more than 1,000,000 bytes"),
        (b"a = 1\nb = '\xe9'\n", "line 2: the text is not UTF-8"),
        (b"length = 3 m\n", "line 1: cannot read length = 3 m; text and measures stand in quotes"),
        (b"a = 1\na = 2\n", "line 2: cannot read a = 2; this name has been given before"),
        (b"[a]\n[a]\n", "given before"),
        (b"a.b = 1\na = 2", "given before"),
        (b"a = [1, 2", "begun and not finished: a bracket, a quote or a value"),
        (b"a = " + b"[" * 100_000, "nested too deeply"),
        (b"a = " + b"1" * 5000, "too many digits"),
        (b"a\x00 = 1", "line 1"),
        pytest.param(b"\n" + b"a." * 200_000 + b"a = 1", "line 2: too many words joined by points", id="endless key"),
        pytest.param(b"x = {" + b'"a" . ' * 10_000 + b"a = 1}", "line 1: too many words", id="endless inner key"),
    ],
)
def test_a_file_that_cannot_be_read_is_told(tmp_path: Path, content: bytes, message: str) -> None:
    file = tmp_path / "part.toml"
    file.write_bytes(content)
    with pytest.raises(PartError, match=message) as caught:
        read_toml(file, PartError)
    assert len(str(caught.value).splitlines()) == 1


def test_a_missing_file_and_a_folder_are_told(tmp_path: Path) -> None:
    with pytest.raises(PartError, match="there is no such file"):
        read_toml(tmp_path / "nothing.toml", PartError)
    with pytest.raises(PartError, match="this is a folder"):
        read_toml(tmp_path, PartError)
    with pytest.raises(PartError, match="cannot be read"):
        read_toml(Path("a\0b"), PartError)


def test_windows_files_are_read_too(tmp_path: Path) -> None:
    file = tmp_path / "part.toml"
    file.write_bytes(b"\xef\xbb\xbfa = 1\r\nb = 2\r\n")
    assert read_toml(file, PartError) == {"a": 1, "b": 2}


def test_the_data_folder_explains_its_keys() -> None:
    text = (profiles() / "README.md").read_text(encoding="utf-8")
    for kind in KINDS:
        assert f"{kind}.toml" in text
