"""The glossary of result columns: the one place for their names, units, labels and decimals."""

from __future__ import annotations

from typing import NamedTuple

from solarvent.base.quantities import convert, shown_unit, units_of


class Column(NamedTuple):
    """A result column.

    `name` is the key in tables and JSON, pvlib's word where there is one; `dimension` a kind of quantity of
    :mod:`solarvent.base.quantities`, empty for a count, a share or a time; `label` the heading for people, without its
    unit; `decimals` the digits after the point in the metric system, `decimals_us` those in US units; `meaning` one
    sentence for the glossary.
    """

    name: str
    dimension: str
    label: str
    decimals: int
    decimals_us: int
    meaning: str

    def unit(self, system: str = "metric") -> str:
        """Name the unit of display; empty for a pure number."""
        return shown_unit(self.dimension, system) if self.dimension else ""

    def unit_si(self) -> str:
        """Name the unit in which the value is kept in tables and JSON; empty for a pure number."""
        return units_of(self.dimension)[0] if self.dimension else ""

    def shown(self, value: float, system: str = "metric") -> float:
        """Turn an SI value into the number to display."""
        return convert(value, self.dimension, self.unit(system)) if self.dimension else value

    def heading(self, system: str = "metric") -> str:
        """Write the label with its unit in brackets."""
        unit = self.unit(system)
        return f"{self.label} [{unit}]" if unit else self.label


_ROWS = (
    Column("time", "", "time", 0, 0, "start of the step, local clock time with its offset"),
    Column("month", "", "month", 0, 0, "1 to 12"),
    Column("oktas", "", "cloud [oktas]", 0, 0, "opaque cloud cover in eighths of the sky"),
    Column(
        "poa_global",
        "irradiance",
        "sun",
        0,
        0,
        "irradiance in the plane of the panel, before dirt and glazing",
    ),
    Column("effective_irradiance", "irradiance", "sun at cells", 0, 0, "irradiance that reaches the cells"),
    Column("temp_air", "temperature", "outside", 1, 0, "outside air temperature"),
    Column("temp_cell", "temperature", "cell", 1, 0, "temperature of the solar cells"),
    Column("temp_inside", "temperature", "inside", 1, 0, "mean inside air temperature, openings and fans as planned"),
    Column("temp_mass", "temperature", "mass", 1, 0, "mean temperature of what stores heat"),
    Column("wind_speed", "speed", "wind", 1, 1, "wind speed at the height of the weather station"),
    Column("ghi", "irradiance", "sun", 0, 0, "global irradiance on a level plane"),
    Column("irradiation", "", "light [kWh/m2]", 0, 0, "sum of the global irradiance on a level plane"),
    Column("clear_sky_index", "", "of clear", 2, 2, "global irradiance over that of a clear sky"),
    Column("temp_low", "temperature", "lows", 1, 0, "mean of the days' lowest air temperatures"),
    Column("temp_high", "temperature", "highs", 1, 0, "mean of the days' highest air temperatures"),
    Column("calm_share", "", "calm", 2, 2, "share of the hours with known wind in which it is below 0.5 m/s"),
    Column("days", "", "days", 0, 0, "days of which there is weather"),
    Column("panel_voltage", "voltage", "panel", 1, 1, "voltage at the terminals of the panel"),
    Column("panel_current", "current", "panel", 2, 2, "current out of the panel"),
    Column("panel_power", "power", "panel", 1, 1, "power out of the panel"),
    Column("power_available", "power", "could give", 1, 1, "power of the panel at its maximum power point"),
    Column("state_of_charge", "", "charge", 2, 2, "charge in the battery at the end of the step, over its capacity"),
    Column("battery_voltage", "voltage", "battery", 1, 1, "voltage at the poles of the battery"),
    Column("battery_current", "current", "battery", 2, 2, "current into the battery, negative out of it"),
    Column("voltage", "voltage", "fan", 1, 1, "voltage at the terminals of the fan, a mean while it turns"),
    Column("current", "current", "fan", 2, 2, "current into the fan, a mean while it turns"),
    Column("running", "", "turning", 2, 2, "share of the step in which the fan turns, 0 to 1"),
    Column("fans_running", "", "fans turning", 1, 1, "number of fans that turn, averaged over the step"),
    Column("flow", "flow", "air", 0, 0, "volume flow of fresh air"),
    Column("flow_running", "flow", "air then", 0, 0, "volume flow of fresh air while a fan turns"),
    Column("flow_wanted", "flow", "wanted", 0, 0, "volume flow that would be enough"),
    Column("restarts", "", "start again", 0, 0, "number of fans that a gap in the cloud would start from standing"),
    Column("air_changes", "", "air changes [1/h]", 0, 0, "fresh air volumes of the house per hour"),
    Column("energy_made", "energy", "could make", 0, 0, "energy of the panel at its maximum power point"),
    Column("energy_usable", "energy", "usable", 0, 0, "energy of the panel within the voltage that the fans bear"),
    Column("energy_used", "energy", "used", 0, 0, "energy that reached the fans"),
    Column("energy_lost", "energy", "lost", 0, 0, "energy turned into heat in wires, contacts, diodes and converters"),
    Column("energy_spilled", "energy", "spilled", 0, 0, "usable energy that was neither used nor lost"),
    Column("energy_missing", "energy", "missing", 0, 0, "what the fans lack of their rated power in hours of need"),
    Column("hours_running", "", "turning [h]", 0, 0, "hours in which the fan turns"),
    Column("first_start", "", "first start", 0, 0, "median clock time of the day's first start"),
    Column("last_stop", "", "last stop", 0, 0, "median clock time of the day's last stop"),
    Column("air_changes_noon", "", "at noon [1/h]", 0, 0, "mean air changes in the hour from 12:00"),
    Column("air_changes_15", "", "at 15:00 [1/h]", 0, 0, "mean air changes in the hour from 15:00"),
    Column("start_irradiance", "irradiance", "starts at", 0, 0, "irradiance at which a standing fan starts"),
    Column("run_down_irradiance", "irradiance", "stops at", 0, 0, "irradiance at which a turning fan stops"),
    Column("row", "", "row", 0, 0, "line of the place in its table"),
    Column("id", "", "id", 0, 0, "id of the place"),
    Column("design", "", "design", 0, 0, "id of the design; empty for the plan as it is"),
    Column("latitude", "", "latitude [deg]", 2, 2, "degrees, north positive"),
    Column("longitude", "", "longitude [deg]", 2, 2, "degrees, east positive"),
    Column("panel_watts", "power", "panel", 0, 0, "watts of all panels by their plates"),
    Column("verdict", "", "verdict", 0, 0, "fits, short or stop; failed where a row could not be worked out"),
    Column("reason", "", "reason", 0, 0, "why, in a sentence"),
    Column("cause", "", "cause", 0, 0, "why, in a word: the code of a finding, or what limits it"),
    Column("do", "", "do first", 0, 0, "what to do first"),
    Column("findings", "", "findings", 0, 0, "codes of the stops and warnings"),
    Column("share_at_target", "", "enough air", 2, 2, "share of the hours of need in which the air is enough"),
    Column("mean_flow", "flow", "air", 0, 0, "mean volume flow of fresh air in the hours of need"),
    Column("hours_needed", "", "need [h]", 0, 0, "hours of need of the weather year"),
    Column("hours_at_target", "", "enough [h]", 0, 0, "hours of need in which the air is enough"),
    Column("fan_voltage_max", "voltage", "fan at most", 1, 1, "highest at a turning fan in cold bright light"),
    Column("temp_inside_max", "temperature", "hottest inside", 0, 0, "hottest hour of need inside"),
    Column("weather", "", "weather", 0, 0, "file, climate or other source of the hours of a place"),
    Column("weather_by", "", "chosen", 0, 0, "how it was chosen: named, nearest file, plan or latitude"),
    Column("weather_distance", "length", "away", 0, 0, "how far the weather was taken from"),
    Column("clock", "", "clock", 0, 0, "time zone of the hours of need, or solar"),
)

#: Columns that a plan with a battery has besides.
BATTERY_COLUMNS = ("state_of_charge", "battery_voltage", "battery_current")

COLUMNS = {column.name: column for column in _ROWS}
