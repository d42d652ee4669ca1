"""What a typed number may be: impossible is refused, unlikely is asked. One table, with reasons.

Hard limits refuse only the impossible, so that a true extreme can be recorded. No hard limit can
catch mmHg typed in a kPa field: 47 % of such slips lie below 50 kPa, a value that was survived;
the ask range and the pH/PCO2/HCO3 triple check catch them.
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from pydantic import AfterValidator

from hvmon.records.base import Pressure
from hvmon.vocabulary import Mark


class Verdict(StrEnum):
    """What the table says of a value."""

    OK = "ok"
    CONFIRM = "confirm"
    REJECT = "reject"


@dataclass(frozen=True, slots=True)
class EntryLimit:
    """Accepted range of one field, the range outside which is asked, and the reasons."""

    field: str
    words: str
    unit: str
    low: Decimal
    high: Decimal
    ask_low: Decimal
    ask_high: Decimal
    why: str
    slip: str
    mark: Mark

    def verdict(self, value: Decimal) -> Verdict:
        """Judge one value; the limits themselves are accepted."""
        if not (value.is_finite() and self.low <= value <= self.high):
            return Verdict.REJECT
        return Verdict.OK if self.ask_low <= value <= self.ask_high else Verdict.CONFIRM

    @property
    def accepted(self) -> str:
        """The accepted range in words."""
        return f"{self.low} to {self.high} {self.unit}".strip()


def _row(
    field: str, words: str, unit: str, hard: tuple[str, str], ask: tuple[str, str], why: str, slip: str = "",
    mark: Mark = Mark.JUDGEMENT,
) -> EntryLimit:  # fmt: skip
    low, high = (Decimal(text) for text in hard)
    ask_low, ask_high = (Decimal(text) for text in ask)
    return EntryLimit(field, words, unit, low, high, ask_low, ask_high, why, slip, mark)


_LIFE = "outside is not compatible with life"
_SURVIVED_PH = "pH 6.60 was survived (Chest 1992;102:1742); above 8 is not compatible with life"
_SURVIVED_PCO2 = "375 mmHg (50.0 kPa) was survived (Chest 1992;102:1742); ALS 235 mmHg was recorded"

ENTRY_LIMITS: tuple[EntryLimit, ...] = (
    _row("ph", "pH", "", ("6.5", "8.0"), ("7.20", "7.55"), _SURVIVED_PH,
         "a misplaced point (736 or 73.6), or hydrogen ion in nmol/L typed as pH", Mark.SEEN),
    _row("paco2_kpa", "PCO2", "kPa", ("0.9", "50"), ("3.5", "14"), _SURVIVED_PCO2,
         "mmHg typed as kPa", Mark.SEEN),
    _row("paco2_mmhg", "PCO2", "mmHg", ("7", "375"), ("26", "105"), _SURVIVED_PCO2,
         "kPa typed as mmHg", Mark.SEEN),
    _row("pao2_kpa", "PO2", "kPa", ("1.5", "90"), ("6", "20"), "physics of the inspired gas",
         "mmHg typed as kPa"),
    _row("pao2_mmhg", "PO2", "mmHg", ("11", "675"), ("45", "150"), "physics of the inspired gas",
         "kPa typed as mmHg"),
    _row("hco3_mmol_l", "bicarbonate", "mmol/L", ("2", "70"), ("18", "45"), _LIFE,
         "base excess typed as bicarbonate"),
    _row("be_mmol_l", "base excess", "mmol/L", ("-40", "50"), ("-5", "18"), _LIFE,
         "bicarbonate typed as base excess, or a lost minus sign"),
    _row("so2_pct", "oxygen saturation of the sample", "%", ("20", "100"), ("80", "100"), "a percentage",
         "a fraction (0.92) typed as percent"),
    _row("spo2_pct", "SpO2", "%", ("20", "100"), ("80", "100"), "a percentage",
         "a fraction (0.92) typed as percent"),
    _row("lactate_mmol_l", "lactate", "mmol/L", ("0", "40"), ("0.3", "5"), "analyser range", ""),
    _row("hb_g_dl", "haemoglobin", "g/dL", ("2", "26"), ("7", "20"), _LIFE,
         "g/L typed as g/dL"),
    _row("fio2", "FiO2", "fraction", ("0.209", "1.0"), ("0.209", "0.6"), "a fraction of the inspired gas",
         "percent (21) typed as a fraction"),
    _row("oxygen_l_min", "oxygen flow", "L/min", ("0", "15"), ("0", "6"), "home flowmeters",
         "mL/min typed as L/min"),
    _row("rate_min", "rate", "/min", ("4", "60"), ("8", "35"), "ventilator ranges"),
    _row("backup_rate_min", "backup rate", "/min", ("0", "60"), ("6", "30"),
         "ventilator ranges; 0 means none set"),
    _row("tidal_volume_ml", "tidal volume", "mL", ("50", "2500"), ("200", "1000"), "ventilator ranges",
         "litres typed as mL"),
    _row("ipap_cmh2o", "IPAP", "cmH2O", ("4", "50"), ("8", "35"), "ventilator ranges", "kPa or mbar x 10"),
    _row("epap_cmh2o", "EPAP", "cmH2O", ("0", "25"), ("3", "14"), "ventilator ranges", "IPAP typed as EPAP"),
    _row("inspiratory_time_s", "inspiratory time", "s", ("0.3", "3"), ("0.6", "1.8"), "ventilator ranges",
         "a percentage of the cycle typed as seconds"),
    _row("leak_l_min", "leak", "L/min", ("0", "200"), ("0", "60"), "device ranges", "L/s or mL/s"),
    _row("usage_h", "use", "h", ("0", "24"), ("0", "20"),
         "a day has 24 hours; over 20 is usual only in near-continuous need",
         "minutes typed as hours"),
    _row("triggered_pct", "triggered breaths", "%", ("0", "100"), ("0", "100"), "a percentage"),
    _row("events_per_h", "residual events", "/h", ("0", "200"), ("0", "60"), "device ranges"),
    _row("minute_ventilation_l_min", "minute ventilation", "L/min", ("0.5", "60"), ("2", "25"),
         "device ranges",
         "mL typed as litres"),
    _row("height_cm", "height", "cm", ("40", "230"), ("130", "205"), "people", "metres typed as cm"),
    _row("ulna_cm", "ulna length", "cm", ("10", "40"), ("18", "34"), "people"),
    _row("weight_kg", "weight", "kg", ("2", "350"), ("25", "200"), "people", "pounds or stones"),
    _row("ptcco2_kpa", "transcutaneous PCO2", "kPa", ("1", "30"), ("3.5", "14"), "sensor ranges",
         "mmHg typed as kPa"),
    _row("ptcco2_mmhg", "transcutaneous PCO2", "mmHg", ("7", "225"), ("26", "105"), "sensor ranges",
         "kPa typed as mmHg"),
    _row("fvc_l", "forced vital capacity", "L", ("0.1", "9"), ("0.3", "6"), "people", "mL typed as litres"),
    _row("fvc_pct", "forced vital capacity", "% predicted", ("1", "200"), ("10", "130"), "people"),
    _row("snip_cmh2o", "sniff nasal inspiratory pressure", "cmH2O", ("0", "200"), ("5", "130"), "people"),
    _row("mip_cmh2o", "maximal inspiratory pressure", "cmH2O", ("0", "250"), ("5", "150"), "people",
         "type the size without the minus sign"),
    _row("peak_cough_flow_l_min", "peak cough flow", "L/min", ("0", "1000"), ("30", "700"), "people",
         "L/s typed as L/min"),
    _row("sensor_temperature_c", "sensor temperature", "C", ("37", "45"), ("39", "44"), "heated sensors"),
)  # fmt: skip

_BY_FIELD = {limit.field: limit for limit in ENTRY_LIMITS}


def entry_limit(field: str) -> EntryLimit:
    """Give the row of a field.

    Raises
    ------
    KeyError
        The table has no such field.
    """
    return _BY_FIELD[field]


def verdict(field: str, value: float | Decimal) -> Verdict:
    """Judge a value: `ok`, `confirm` (ask) or `reject`."""
    return entry_limit(field).verdict(value if isinstance(value, Decimal) else Decimal(str(value)))


def refusal(limit: EntryLimit, value: Decimal) -> str:
    """Say why a value is refused: what was given, what is accepted, the likely slip."""
    hint = f" Likely slip: {limit.slip}." if limit.slip else ""
    return f"{limit.words} {value} is not possible; accepted is {limit.accepted} ({limit.why}).{hint}"


def within(field: str) -> AfterValidator:
    """Give the pydantic validator that refuses what the table calls impossible."""

    def check(value: Decimal) -> Decimal:
        limit = entry_limit(field)
        if limit.verdict(value) == Verdict.REJECT:
            raise ValueError(refusal(limit, value))
        return value

    return AfterValidator(check)


def pressure_within(stem: str) -> AfterValidator:
    """Give the validator of a `Pressure`, judged in its own unit by the rows of `stem`."""

    def check(pressure: Pressure) -> Pressure:
        limit = entry_limit(f"{stem}_{pressure.unit.lower()}")
        if limit.verdict(pressure.value) == Verdict.REJECT:
            raise ValueError(refusal(limit, pressure.value))
        return pressure

    return AfterValidator(check)
