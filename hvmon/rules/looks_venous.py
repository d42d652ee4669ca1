"""Whether an arterial or capillary sample looks venous beside the oximeter: one judgement for all who ask.

The values of a gas are those at 37 C, and so is the curve: no step for fever is due, as warming blood moves
PO2 along with the curve and leaves the saturation. A gas corrected to body temperature is not judged, as
that temperature is not recorded.
"""

from hvmon.physiology.acid_base import bicarbonate_mmol_l
from hvmon.physiology.base_excess import base_excess_blood_mmol_l
from hvmon.physiology.oxygen import so2_siggaard_andersen
from hvmon.records.gas import BloodGas
from hvmon.vocabulary import TemperatureCorrection

USUAL_HB_G_DL = 15.0
"""[g/dL] taken where haemoglobin was not typed (Project)."""
GAP_POINTS, GAP_POINTS_LOW = 8.0, 12.0
"""[points] oximeter above the sample by this much: a venous or mixed sample is likely; the second where the
oximeter reads below `STEEP_BELOW_PCT`. Some two and a half SD of the difference: oximeter 3, below that 4;
curve 1.5; PO2 0.2 kPa, which is half a point at 8 kPa and 2 at 5 (Project)."""
STEEP_BELOW_PCT = 88.0
"""[%] oximeter value below which the curve is steep and the oximeter itself less sure (Project)."""


def estimated_so2_pct(gas: BloodGas) -> float | None:
    """Saturation [%] that PO2, pH and base excess of a sample give; None without PO2, or not at 37 C.

    References
    ----------
    SiggaardAndersen1984.
    """
    if gas.po2 is None or gas.temperature_correction == TemperatureCorrection.CORRECTED:
        return None
    ph, hb = float(gas.ph), USUAL_HB_G_DL if gas.hb_g_dl is None else float(gas.hb_g_dl)
    excess = base_excess_blood_mmol_l(ph, bicarbonate_mmol_l(ph, gas.pco2.kpa), hb)
    return 100.0 * so2_siggaard_andersen(gas.po2.kpa, ph, base_excess_mmol_l=excess)


def gap_points(oximeter_pct: float) -> float:
    """Largest gap [points] between oximeter and sample that repeat and curve leave unremarkable."""
    return GAP_POINTS if oximeter_pct >= STEEP_BELOW_PCT else GAP_POINTS_LOW
