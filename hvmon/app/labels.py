"""Labels of the questions, one name for one thing on every screen; units stand in brackets."""

import re

LABELS = {
    "date": "Date",
    "time": "Time",
    "reason": "Reason",
    "sample": "What was sampled",
    "sample_time": "Time of sample",
    "unit": "Unit on the slip",
    "symptoms": "Were symptoms asked about",
    "machine": "Settings as read at the machine",
    "weighed": "How weighed",
    "second_program": "Second program",
    "why_changed": "Reason for the correction",
    "place": "Place",
    "not_done": "Not done, and why",
    "analysed_time": "Time analysed",
    "more": "More to record",
    "owed_line": "Which owed test",
    "became": "What became of it",
    "new_due": "New date",
    "action_line": "Which action",
    "action.state": "How it ended",
    "why_closed": "Why or what was done",
    "sample.comment": "Note on the sample: air bubble, delay",
    "machine.comment": "Note on the ventilator: alarms, humidifier",
    "site": "Site",
    "failed_attempts": "Failed attempts",
    "temperature_correction": "Temperature correction",
    "analyser": "Analyser",
    "minutes_since_applied": "Minutes since sensor applied",
    "sensor_temperature_c": "Sensor temperature [°C]",
    "drift_correction": "Drift correction",
    "state_ventilator": "Ventilator",
    "state_minutes_in_state": "Minutes since mask on or off",
    "state_oxygen_l_min": "Oxygen [L/min], 0 = none",
    "state_minutes_since_oxygen_change": "Minutes since oxygen changed",
    "state_fio2": "FiO2 [fraction], if no flow",
    "state_position": "Position",
    "state_rest": "Rest",
    "state_wakefulness": "Awake or asleep",
    "state_reason": "Why sampled",
    "ph": "pH",
    "pco2": "PCO2",
    "pco2_unit": "Unit of PCO2",
    "po2": "PO2",
    "po2_unit": "Unit of PO2",
    "ptcco2": "Transcutaneous PCO2",
    "ptcco2_unit": "Unit of transcutaneous PCO2",
    "hco3_mmol_l": "Bicarbonate [mmol/L]",
    "hco3_kind": "Which bicarbonate",
    "be_mmol_l": "Base excess [mmol/L]",
    "be_kind": "Which base excess",
    "so2_pct": "SO2 of the sample [%]",
    "spo2_pct": "SpO2 by oximeter [%]",
    "lactate_mmol_l": "Lactate [mmol/L]",
    "hb_g_dl": "Haemoglobin [g/dL]",
    "answered_by": "Answered by",
    "morning_headache": "Morning headache",
    "daytime_sleepiness": "Daytime sleepiness",
    "sleep_quality": "Poor sleep",
    "breathlessness": "Breathlessness",
    "poor_concentration": "Poor concentration",
    "pins_and_needles": "Pins and needles",
    "new_drowsiness_or_confusion": "New drowsiness or confusion",
    "flap": "CO2 flap",
    "flaps_per_30_s": "Flaps in 30 s",
    "other_flap_causes": "Other possible causes of flap",
    "meter_h": "Usage meter [h]",
    "backup_device_tested": "Backup device tested",
    "rate_min": "Breathing rate [/min]",
    "pulse_min": "Pulse [/min]",
    "weight_kg": "Weight [kg]",
    "usage_h": "Use last night [h]",
    "leak_l_min": "Leak [L/min]",
    "leak_kind": "Which leak",
    "smoker_with_oxygen": "Smokes with oxygen in the house",
    "comment": "Note",
    "advice_given": "Advice given",
    "changed_at": "In force from",
    "why": "Why",
    "kind": "Kind",
    "urgency": "Urgency",
    "owed_test": "Test owed after it",
    "owed_by": "Owed by",
    "mode": "Mode",
    "ipap_cmh2o": "IPAP [cmH2O]",
    "ipap_max_cmh2o": "IPAP maximum [cmH2O]",
    "epap_cmh2o": "EPAP [cmH2O]",
    "tidal_volume_ml": "Tidal volume [mL]",
    "target_volume_ml": "Target volume [mL]",
    "backup_rate_min": "Backup rate [/min]",
    "inspiratory_time_s": "Inspiratory time [s]",
    "trigger": "Trigger",
    "oxygen_l_min": "Oxygen [L/min]",
    "interface": "Interface",
    "circuit": "Circuit",
    "filter_kind": "Filter",
    "local_id": "Local id",
    "second_identifier": "Second identifier",
    "name": "Name",
    "date_of_birth": "Date of birth",
    "sex": "Sex",
    "diagnosis_group": "Diagnosis group",
    "diagnosis": "Diagnosis",
    "dependence": "Ventilator dependence",
    "height_cm": "Height [cm]",
    "height_method": "How height was obtained",
    "ulna_cm": "Ulna length [cm]",
    "has_lung_disease": "Lung disease",
    "ventilation_started": "Ventilation started",
    "spo2_target_low_pct": "SpO2 target, low [%]",
    "spo2_target_high_pct": "SpO2 target, high [%]",
    "home_oxygen": "Home oxygen",
    "tracheostomy": "Tracheostomy",
    "goals_of_care": "Goals of care",
    "zone": "Time zone",
    "happened_on": "Day",
    "until": "Until",
    "medicine_class": "Medicine class",
    "detail": "Detail",
    "weighed_on": "Day",
    "estimated": "Estimated",
    "tested_on": "Day",
    "fvc_l": "FVC [L]",
    "fvc_pct": "FVC [% predicted]",
    "snip_cmh2o": "SNIP [cmH2O]",
    "mip_cmh2o": "MIP [cmH2O], without sign",
    "peak_cough_flow_l_min": "Peak cough flow [L/min]",
    "night_of": "Night of (the evening's date)",
    "started_at": "Started at",
    "ended_at": "Ended at",
    "valid_s": "Valid recording [s]",
    "averaging_s": "Averaging of the oximeter [s]",
    "spo2_mean_pct": "SpO2, mean [%]",
    "spo2_nadir_pct": "SpO2, lowest [%]",
    "below_90_s": "SpO2 below 90 % [s]",
    "at_or_below_88_s": "SpO2 at or below 88 % [s]",
    "longest_at_or_below_88_s": "Longest run at or below 88 % [s]",
    "dips_per_h": "Dips of SpO2 [/h]",
    "dip_size_pct": "Size of a dip [%]",
    "dip_convention": "Rule the dips were counted by",
    "tcco2_awake_supine": "tcCO2 awake, supine",
    "tcco2_awake_supine_unit": "Unit of tcCO2 awake",
    "tcco2_mean": "tcCO2, mean",
    "tcco2_mean_unit": "Unit of tcCO2 mean",
    "tcco2_median": "tcCO2, median",
    "tcco2_median_unit": "Unit of tcCO2 median",
    "tcco2_peak": "tcCO2, highest",
    "tcco2_peak_unit": "Unit of tcCO2 highest",
    "tcco2_valid_s": "tcCO2, valid [s]",
    "tcco2_above_49_mmhg_s": "tcCO2 above 49 mmHg [s]",
    "tcco2_above_50_mmhg_s": "tcCO2 above 50 mmHg [s]",
    "tcco2_above_55_mmhg_s": "tcCO2 above 55 mmHg [s]",
    "tcco2_longest_above_55_mmhg_s": "Longest run above 55 mmHg [s]",
    "tcco2_longest_risen_10_above_50_mmhg_s": "Longest run 10 mmHg up and above 50 mmHg [s]",
    "sensor_site": "Site of the sensor",
    "tidal_volume_exhaled_ml": "Tidal volume, exhaled [mL]",
    "rule_id": "Rule",
    "in_use": "In use",
    "limit_value": "Limit for this person",
}

_UNITS = (
    ("_cmh2o", "cmH2O"), ("_l_min", "L/min"), ("_mmol_l", "mmol/L"), ("_per_h", "/h"), ("_pct", "%"),
    ("_kpa", "kPa"), ("_min", "/min"), ("_ml", "mL"), ("_kg", "kg"), ("_cm", "cm"), ("_h", "h"), ("_s", "s"),
)  # fmt: skip


def label(column: str) -> str:
    """Give the label of a flat column; one without a label of its own is spelt out."""
    for prefix, number in (("", ""), ("program_1_", ""), ("program_2_", " 2")):
        known = LABELS.get(column.removeprefix(prefix))
        if column.startswith(prefix) and known:
            head, bracket, unit = known.partition(" [")
            return f"{head}{number}{bracket}{unit}"
    for ending, unit in _UNITS:
        if column.endswith(ending):
            return f"{_spelt(column.removesuffix(ending))} [{unit}]"
    return _spelt(column)


def asked(key: str, column: str) -> str:
    """Give the label of a question: its own where it has one, else that of the column it fills."""
    return LABELS.get(key) or label(column)


def in_words(text: str) -> str:
    """Give a message of the record's own checks with its columns called as on the screen."""
    return re.sub(r"\b[a-z0-9]+(?:_[a-z0-9]+)+\b", lambda found: _known(found[0]), text)


def _known(name: str) -> str:
    told = label(name)
    return told if told != _spelt(name) else name


def bare(column: str) -> str:
    """Give the label without its unit, for places where the value carries it."""
    return label(column).split(" [")[0]


def _spelt(column: str) -> str:
    return column.replace("_", " ").capitalize()
