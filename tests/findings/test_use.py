"""Findings on what the house is used for; each of them with its mended twin is in test_failures.py."""

from datetime import date

import pytest

from solarvent.findings.verdicts import find
from solarvent.simulation.simulate import simulate

MIDSUMMER = date(2001, 6, 21)


def codes(loaded, house=True):
    return {finding.code for finding in find(simulate(loaded, MIDSUMMER, house=house))}


@pytest.mark.parametrize(
    ("use", "ip_code", "wanted"),
    [
        ("greenhouse", None, set()),
        ("greenhouse", "IP20", {"fan-damp"}),
        ("greenhouse", "IPX4", set()),
        ("greenhouse", "IP5X", set()),
        ("coop", None, {"fan-dust"}),
        ("coop", "IPX4", {"fan-dust"}),
        ("coop", "IP44", {"fan-dust"}),
        ("coop", "ip54", set()),
        ("shed", "IP20", set()),
    ],
)
def test_the_ip_code_is_held_against_the_air_of_the_house(small_plan, use, ip_code, wanted):
    changes = {"house.use": use}
    if ip_code:
        changes |= {"fan.0.ip_code": ip_code, "fan.1.ip_code": ip_code}
    assert codes(small_plan(changes)) & {"fan-damp", "fan-dust"} == wanted


def test_a_coop_whose_house_is_not_worked_out_says_nothing_of_its_heat(small_plan):
    coop = small_plan({"house.use": "coop"})
    assert "animals-need-vents" in codes(coop)
    assert "animals-need-vents" not in codes(coop, house=False)
