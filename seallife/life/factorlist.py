"""The list of what may drive the life of a seal: names, units, and what each is made from.

In: nothing. Out: `FACTORS`. Next: `seallife.life.factors`.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["ATMOSPHERE_KPA", "FACTORS", "FAR_FROM_BOILING", "Factor"]

ATMOSPHERE_KPA = 101.325
FAR_FROM_BOILING = 8.0
"""Chamber over vapour pressure above which more makes no film steadier: counted as this."""


class Factor(NamedTuple):
    """One thing that may drive a life.

    Attributes
    ----------
    words : str
        What it is.
    unit : str
        '' for groups.
    step : float
        Step for which a ratio is stated.
    step_words : str
    needs : tuple of str
        Columns it is made from.
    """

    words: str
    unit: str
    step: float
    step_words: str
    needs: tuple[str, ...]


FACTORS: dict[str, Factor] = {
    "vapour_margin_bar": Factor(
        "chamber pressure less vapour pressure",
        "bar",
        1.0,
        "1 bar of vapour margin",
        ("chamber_kpa", "vapour_kpa"),
    ),
    "vapour_ratio_doublings": Factor(
        f"chamber over vapour pressure, counted in doublings, at most {FAR_FROM_BOILING:g} times",
        "doublings",
        1.0,
        "doubling of chamber/vapour pressure",
        ("chamber_kpa", "vapour_kpa"),
    ),
    "pressure_bar": Factor(
        "chamber pressure less atmosphere", "bar", 5.0, "5 bar of pressure", ("chamber_kpa",)
    ),
    "temp_c": Factor("pumping temperature", "°C", 10.0, "10 °C", ("temp_c",)),
    "face_speed_m_s": Factor(
        "speed at the shaft's surface",
        "m/s",
        5.0,
        "5 m/s of speed",
        ("shaft_mm", "speed_rpm"),
    ),
    "viscosity_doublings": Factor(
        "viscosity over 1 cSt, counted in doublings",
        "doublings",
        1.0,
        "doubling of viscosity",
        ("viscosity_cst",),
    ),
    "solids_pct": Factor("solids by weight", "%", 5.0, "5 % of solids", ("solids_pct",)),
    "fluid_class": Factor("service class", "", 1.0, "", ("service_class",)),
    "flush_plan": Factor("first of the piping plans", "", 1.0, "", ("flush_plan",)),
    "arrangement": Factor("arrangement of the seals", "", 1.0, "", ("arrangement",)),
    "duty": Factor("how the pump is used", "", 1.0, "", ("duty",)),
    "rebuilt": Factor("rebuilt cartridge or new", "", 1.0, "", ("rebuild_no",)),
    "lot": Factor("lot of the seal, where one holds enough lives", "", 1.0, "", ("lot",)),
    "crew": Factor("crew, shop or contractor that fitted the seal", "", 1.0, "", ("crew",)),
    "epoch": Factor("position changed since the records began, or not", "", 1.0, "", ("epoch",)),
}
"""Every factor, by its column in `LifeFactors.values`."""
