"""Closed sets of words. One name means one thing everywhere; `docs/nomenclature.md` explains each.

The texts are what is stored, exported and (escaped) shown. "not recorded" is a value, never a blank.
"""

from enum import StrEnum


class NotRecorded(StrEnum):
    """The single value that stands where a required condition was not written down."""

    NOT_RECORDED = "not recorded"


NOT_RECORDED = NotRecorded.NOT_RECORDED


class SampleKind(StrEnum):
    """What blood was analysed. Kinds are never joined into one line nor converted into each other."""

    ARTERIAL = "arterial"
    CAPILLARY_EARLOBE = "capillary earlobe"
    CAPILLARY_FINGERTIP = "capillary fingertip"
    VENOUS = "venous"


class SampleSite(StrEnum):
    """Where on the body the sample was drawn."""

    RADIAL = "radial"
    BRACHIAL = "brachial"
    FEMORAL = "femoral"
    ARTERIAL_LINE = "arterial line"
    EARLOBE = "earlobe"
    FINGERTIP = "fingertip"
    ARM_VEIN = "arm vein"
    HAND_VEIN = "hand vein"
    CENTRAL_LINE = "central line"
    OTHER = "other"
    NOT_RECORDED = "not recorded"


class SensorSite(StrEnum):
    """Where a transcutaneous sensor sat."""

    EARLOBE = "earlobe"
    CHEEK = "cheek"
    FOREHEAD = "forehead"
    CHEST = "chest"
    FOREARM = "forearm"
    OTHER = "other"
    NOT_RECORDED = "not recorded"


class VentilatorState(StrEnum):
    """Whether the person was on the ventilator when the reading was taken."""

    ON = "on ventilator"
    OFF = "off ventilator"
    NOT_RECORDED = "not recorded"


class Position(StrEnum):
    """Body position at the reading."""

    SITTING = "sitting"
    SEMI_RECUMBENT = "semi-recumbent"
    SUPINE = "supine"
    NOT_RECORDED = "not recorded"


class Wakefulness(StrEnum):
    """Awake or asleep at the reading."""

    AWAKE = "awake"
    ASLEEP = "asleep"
    NOT_RECORDED = "not recorded"


class Rest(StrEnum):
    """At rest or not at the reading."""

    AT_REST = "at rest"
    AFTER_EXERTION = "after exertion"
    NOT_RECORDED = "not recorded"


class SampleReason(StrEnum):
    """Why the reading was taken; symptom-led sampling biases trends upward."""

    ROUTINE = "routine"
    SYMPTOM_LED = "symptom-led"
    AFTER_CHANGE = "after a change"
    NOT_RECORDED = "not recorded"


class BicarbonateKind(StrEnum):
    """Which bicarbonate the slip printed."""

    ACTUAL = "actual"
    STANDARD = "standard"
    NOT_RECORDED = "not recorded"


class BaseExcessKind(StrEnum):
    """Which base excess the slip printed."""

    BLOOD = "blood"
    EXTRACELLULAR = "extracellular"
    NOT_RECORDED = "not recorded"


class TemperatureCorrection(StrEnum):
    """Whether the analyser corrected to the person's temperature; trends use 37 degree values only."""

    NONE_37C = "none (37 C)"
    CORRECTED = "corrected to body temperature"
    NOT_RECORDED = "not recorded"


class DriftCorrection(StrEnum):
    """How transcutaneous readings were corrected for drift."""

    NONE = "none"
    ONE_POINT = "one-point"
    TWO_POINT = "two-point"
    NOT_RECORDED = "not recorded"


class Sex(StrEnum):
    """Sex for reference equations."""

    FEMALE = "female"
    MALE = "male"
    NOT_RECORDED = "not recorded"


class HeightMethod(StrEnum):
    """How height was obtained; tidal volume per kilogram is never recomputed when the method changes."""

    STANDING = "standing"
    RECUMBENT_LENGTH = "recumbent length"
    ARM_SPAN = "arm span"
    ULNA = "ulna length"
    DEMISPAN = "demispan"
    KNEE_HEIGHT = "knee height"
    REPORTED = "reported by the person"
    NOT_RECORDED = "not recorded"


class DiagnosisGroup(StrEnum):
    """The coded group that chooses the default rule pack; unknown group means no verdict."""

    COPD = "COPD"
    OBESITY_HYPOVENTILATION = "obesity hypoventilation"
    MOTOR_NEURONE_DISEASE = "motor neurone disease"
    DUCHENNE = "Duchenne muscular dystrophy"
    OTHER_NEUROMUSCULAR = "other neuromuscular disease"
    CHEST_WALL = "chest wall disease"
    TRACHEOSTOMY = "tracheostomy ventilation"
    UNKNOWN = "unknown"


class Dependence(StrEnum):
    """How long the person can be without the ventilator."""

    NIGHT_ONLY = "night only"
    NIGHT_AND_DAY = "night and part of the day"
    NEAR_CONTINUOUS = "less than 4 h off in 24 h"
    CONTINUOUS = "cannot be without"
    NOT_YET_VENTILATED = "not yet ventilated"
    NOT_RECORDED = "not recorded"


class Role(StrEnum):
    """Trade of the person who recorded something."""

    NURSE = "nurse"
    PHYSIOTHERAPIST = "physiotherapist"
    PHYSICIAN = "physician"
    PHYSIOLOGIST = "physiologist"
    PERSON_OR_CARER = "person or carer"
    OTHER = "other"


class VisitPlace(StrEnum):
    """Where the visit happened."""

    HOME = "home"
    CLINIC = "clinic"
    WARD = "ward"
    CARE_HOME = "care home"
    REMOTE = "remote"


class Rating(StrEnum):
    """The project's own 0 to 10 symptom ratings (0 none, 10 worst)."""

    MORNING_HEADACHE = "morning headache"
    DAYTIME_SLEEPINESS = "daytime sleepiness"
    SLEEP_QUALITY = "poor sleep"
    BREATHLESSNESS = "breathlessness"
    POOR_CONCENTRATION = "poor concentration"
    PINS_AND_NEEDLES = "pins and needles"


class FlapTest(StrEnum):
    """CO2 flap (asterixis). "not tested" is not "absent"."""

    NOT_TESTED = "not tested"
    ABSENT = "absent"
    PRESENT = "present"


class Informant(StrEnum):
    """Who completed a questionnaire."""

    SELF = "self"
    CARER = "carer"
    STAFF = "staff"
    NOT_RECORDED = "not recorded"


class VentilatorMode(StrEnum):
    """Ventilator mode in general terms; makers' names for modes are not used."""

    SPONTANEOUS_TIMED = "bilevel spontaneous-timed"
    SPONTANEOUS = "bilevel spontaneous"
    TIMED = "bilevel timed"
    PRESSURE_CONTROL = "assisted pressure control"
    VOLUME_CONTROL = "assisted volume control"
    VOLUME_TARGETED_PRESSURE = "volume-targeted bilevel"
    CPAP = "continuous positive airway pressure"
    MOUTHPIECE = "mouthpiece on demand"


class Interface(StrEnum):
    """Interface in general terms."""

    NASAL_MASK = "nasal mask"
    ORONASAL_MASK = "oronasal mask"
    TOTAL_FACE_MASK = "total face mask"
    NASAL_PILLOWS = "nasal pillows"
    MOUTHPIECE = "mouthpiece"
    TRACHEOSTOMY_CUFFED = "tracheostomy, cuff up"
    TRACHEOSTOMY_UNCUFFED = "tracheostomy, cuff down or none"
    NOT_RECORDED = "not recorded"


class Circuit(StrEnum):
    """Circuit in general terms."""

    SINGLE_LIMB_PORT = "single limb, exhalation port in the circuit"
    SINGLE_LIMB_MASK_PORT = "single limb, exhalation port in the mask"
    SINGLE_LIMB_VALVE = "single limb, exhalation valve"
    DOUBLE_LIMB = "double limb"
    NOT_RECORDED = "not recorded"


class FilterKind(StrEnum):
    """Filter or humidification in the circuit."""

    NONE = "none"
    BACTERIAL = "bacterial filter"
    HEAT_MOISTURE = "heat and moisture exchanger"
    HEATED_HUMIDIFIER = "heated humidifier"
    FILTER_AND_HUMIDIFIER = "bacterial filter and heated humidifier"
    NOT_RECORDED = "not recorded"


class Trigger(StrEnum):
    """Inspiratory trigger sensitivity as graded by the trade."""

    VERY_SENSITIVE = "very sensitive"
    SENSITIVE = "sensitive"
    MEDIUM = "medium"
    INSENSITIVE = "insensitive"
    OFF = "off"
    NOT_RECORDED = "not recorded"


class ChangeKind(StrEnum):
    """What kind of settings change it was, for the prior of the response model."""

    INITIATION = "initiation"
    ESCALATION = "escalation"
    NEUTRAL = "neutral"
    DE_ESCALATION = "de-escalation"


class ChangeUrgency(StrEnum):
    """Whether a settings change was elective or made for acidosis or drowsiness."""

    ELECTIVE = "elective"
    URGENT = "for acidosis or drowsiness"


class TestKind(StrEnum):
    """A test that can be owed and that can close what is owed."""

    __test__ = False

    DAY_GAS = "day blood gas"
    NIGHT_STUDY = "night study"
    DAY_GAS_AND_NIGHT = "day blood gas and night study"
    LUNG_FUNCTION = "lung function"
    WEIGHT = "weight"
    NONE = "none"


class LeakKind(StrEnum):
    """Which leak the device reported; comparable only within one kind, device and interface."""

    UNINTENTIONAL_MEDIAN = "unintentional, median"
    UNINTENTIONAL_P95 = "unintentional, 95th centile"
    UNINTENTIONAL_MEAN = "unintentional, mean"
    TOTAL_MEDIAN = "total, median"
    TOTAL_MEAN = "total, mean"
    NOT_RECORDED = "not recorded"


class EventKind(StrEnum):
    """Clinical events that explain or confound a change."""

    INFECTION = "respiratory infection"
    ADMISSION = "admission"
    ADMISSION_HYPERCAPNIC = "admission with acute hypercapnic failure"
    DISCHARGE = "discharge"
    MEDICINE_STARTED = "medicine started"
    MEDICINE_STOPPED = "medicine stopped"
    WEIGHT = "weight"
    LUNG_FUNCTION = "lung function"
    EQUIPMENT = "equipment changed"
    OXYGEN_CHANGE = "oxygen changed"
    MISSED_VISIT = "missed visit"
    REFUSAL = "test refused"
    MOVED = "moved away"
    DEATH = "death"
    OTHER = "other"


class MedicineClass(StrEnum):
    """Medicine classes that bear on ventilation or acid-base."""

    OPIOID = "opioid"
    BENZODIAZEPINE = "benzodiazepine"
    GABAPENTINOID = "gabapentinoid"
    OTHER_SEDATIVE = "other sedative"
    DIURETIC = "diuretic"
    CORTICOSTEROID = "corticosteroid"
    ANTIBIOTIC = "antibiotic"
    OTHER = "other"


class ActionState(StrEnum):
    """State of an action agreed at a meeting or of something owed."""

    OPEN = "open"
    DONE = "done"
    MISSED = "missed visit"
    REFUSED = "refused"
    WITHDRAWN = "no longer wanted"


class RecordStatus(StrEnum):
    """Status of one version of a stored record."""

    FINAL = "final"
    CORRECTED = "corrected"
    ENTERED_IN_ERROR = "entered in error"


class Grade(StrEnum):
    """How soon a met rule wants eyes on it, in words of the team; never an order."""

    SAME_DAY = "same day"
    SOON = "soon"
    REVIEW = "at review"
    CONTEXT = "context"


class Answer(StrEnum):
    """The three answers of a rule."""

    MET = "met"
    NOT_MET = "not met"
    NOT_ASSESSABLE = "not assessable"


class Mark(StrEnum):
    """How far a figure was verified against its source."""

    SEEN = "seen in the source"
    SEEN_SECOND_HAND = "seen in a restatement of the source"
    MEMORY_HIGH = "from memory, high confidence"
    MEMORY_MEDIUM = "from memory, medium confidence"
    MEMORY_LOW = "from memory, low confidence"
    COMPUTED = "computed"
    DERIVED = "derived from seen figures"
    JUDGEMENT = "project judgement, no source"
    PRACTICE = "common practice, no source"
