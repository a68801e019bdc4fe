"""Formulas worked again with pint quantities in US units: same numbers, right dimensions."""

import math

import pint
import pytest

from protocol.estimates.auger import time_to_be_covered
from protocol.estimates.body import Mark
from protocol.estimates.grain import GRAINS, GrainName
from protocol.estimates.orifice import beverloo_kg_s
from protocol.estimates.pressure import janssen_pa, lateral_pa, panel_load
from protocol.estimates.purge import purge_time
from protocol.estimates.result import Span
from protocol.estimates.storage import cone_m3
from protocol.estimates.volume import grain_remaining, net_volume_m3
from protocol.units import CFM_M3_S, CUBIC_FOOT_M3, FOOT_M
from tests.protocol.estimates.people import SIX_FOOT, TWO_BY_TWO

REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()
Q = REGISTRY.Quantity
CORN_LB_FT3 = 56 / 1.2444560185


def test_volume_and_mass() -> None:
    """Net volume and mass of the check case with pint in feet, pounds and bushels."""
    body = Q(80, "kg") * (2 * 0.1 / Q(1.05, "kg/L") + (0.19 / 0.288) * 0.497 / Q(1.03, "kg/L"))
    net = Q(4, "ft**2") * (0.720 - 0.285) * Q(6, "ft") - body
    assert net.to("m**3").magnitude == pytest.approx(net_volume_m3(SIX_FOOT, 4 * FOOT_M**2, Mark.CHEST, Mark.KNEES))
    mass = grain_remaining(SIX_FOOT, TWO_BY_TWO, GRAINS[GrainName.CORN], Mark.CHEST).mass
    assert (net * Q(56, "lb/bushel")).to("kg").magnitude == pytest.approx(mass.value)


def test_panel_load() -> None:
    """Half k gamma h^2 w in pounds of force and feet."""
    load = 0.5 * 0.5 * Q(CORN_LB_FT3, "force_pound/ft**3") * Q(5, "ft") ** 2 * Q(2, "ft")
    found = panel_load(GRAINS[GrainName.CORN], 2 * FOOT_M, Span.exact(5 * FOOT_M)).value
    assert load.to("N").magnitude == pytest.approx(found, rel=1e-6)


def test_lateral_pressure_and_janssen() -> None:
    """Pressures in pounds per square foot, feet and pounds per cubic foot."""
    weight = Q(CORN_LB_FT3, "force_pound/ft**3")
    density = Q(CORN_LB_FT3, "lb/ft**3").to("kg/m**3").magnitude
    depth, radius = Q(30, "ft"), Q(36, "ft") / 4
    shallow = (0.5 * weight * Q(1, "ft")).to("Pa").magnitude
    assert shallow == pytest.approx(lateral_pa(FOOT_M, density, 0.5))
    vertical = weight * radius / (0.37 * 0.5) * (1 - math.exp(-(0.37 * 0.5 * depth / radius).to("").magnitude))
    assert vertical.to("Pa").magnitude == pytest.approx(janssen_pa(30 * FOOT_M, 36 * FOOT_M, density, 0.37, 0.5)[0])


def test_beverloo() -> None:
    """Beverloo has the dimension of mass per time and the same value in inches and pounds."""
    flow = 0.58 * Q(45, "lb/ft**3") * Q(1, "standard_gravity") ** 0.5 * (Q(10, "in") - 1.4 * Q(8, "mm")) ** 2.5
    density = Q(45, "lb/ft**3").to("kg/m**3").magnitude
    assert flow.to("kg/s").magnitude == pytest.approx(beverloo_kg_s(0.254, density, 0.008))


def test_times() -> None:
    """Seconds of the column model and of a purge, in feet and minutes."""
    sinking = Q(85, "ft**3/min") / (math.pi / 4 * Q(2.5, "ft") ** 2)
    found = time_to_be_covered(SIX_FOOT, Span.exact(85 * CFM_M3_S)).value
    assert (Q(6, "ft") / sinking).to("s").magnitude == pytest.approx(found)
    purge = 3 * Q(2000, "ft**3") / Q(200, "ft**3/min") * math.log(10)
    ours = purge_time(Span.exact(2000 * CUBIC_FOOT_M3), Span.exact(200 * CFM_M3_S), 500, 50, Span.exact(3.0)).value
    assert purge.to("s").magnitude == pytest.approx(ours)


def test_cone() -> None:
    """A cone in cubic feet."""
    assert (math.pi / 12 * Q(30, "ft") ** 2 * Q(6.367, "ft")).to("m**3").magnitude == pytest.approx(
        cone_m3(30 * FOOT_M, 6.367 * FOOT_M)
    )
