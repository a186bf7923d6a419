"""Low, typical and high: how far real panels and fans stray from their plates."""

from __future__ import annotations

from dataclasses import dataclass

from solarvent.plan.parts import Fan, Panel

#: Typical loss of a panel's plate. [1/year]
_LOSS_A_YEAR = 0.005


@dataclass(frozen=True)
class Band:
    """One reading of all plates.

    The typical reading takes the plates at their word. The low one is a weak panel with stiff, slow fans; the high
    one a panel that keeps its promise with easy, strong fans. The spreads are common practice, no source: panels give
    0.65 to 1.0 of their plate (0.65 where only watts are known), fans stray by 12-20 %. With each year in the sun a
    panel loses 0.5 %, the median of the published rates, or 1 % in the low reading, which four in five stay under; in
    the high one it has lost nothing (D. C. Jordan, S. R. Kurtz, "Photovoltaic degradation rates: an analytical
    review", Progress in Photovoltaics 21, 2013, 12-29, from memory).

    Attributes
    ----------
    name : str
        ``"low"``, ``"typical"`` or ``"high"``.
    sign : int
        -1, 0 or 1.
    """

    name: str
    sign: int

    def plate_factor(self, panel: Panel) -> float:
        """Share of the plate's current that the panel gives. [-]"""
        if panel.plate_factor is not None:
            return panel.plate_factor * (1 + 0.03 * self.sign)
        aged = 1 - _LOSS_A_YEAR * (1 - self.sign) * panel.age
        if self.sign >= 0:
            return aged
        return aged * (0.65 if panel.v_oc is None and panel.single_diode is None else 0.8)

    def start_factor(self, fan: Fan) -> float:
        """Factor on the start and stop voltages: half of the spread, for the maker's own test limits them. [-]"""
        return 1 - self.sign * fan.tolerance / 2

    def current_factor(self, fan: Fan) -> float:
        """Factor on the current that a fan draws. [-]"""
        return 1 - self.sign * fan.tolerance / 2

    def flow_factor(self, fan: Fan) -> float:
        """Factor on the flow of a fan, beside what its maker's claim usually lacks. [-]"""
        return fan.delivered * (1 + self.sign * fan.tolerance)


TYPICAL, LOW, HIGH = Band("typical", 0), Band("low", -1), Band("high", 1)
BANDS = (TYPICAL, LOW, HIGH)
