"""The bibliography: one Source a key, with how far it was verified.

A docstring, a rule or a prior names a key; `hvmon source KEY` and docs/sources.md print the rest.
"""

from dataclasses import dataclass

from hvmon.vocabulary import Mark


@dataclass(frozen=True, slots=True)
class Source:
    """One published work or stated project judgement."""

    key: str
    authors: str
    title: str
    year: int | None
    place: str
    seen: str
    """What was read of it: abstract, table, restatement, nothing (from memory)."""
    mark: Mark


# --- clinical: definitions, guidelines, trials ---------------------------------------------
CLINICAL: tuple[Source, ...] = ()

# --- physiology: equations and constants -----------------------------------------------------
PHYSIOLOGY: tuple[Source, ...] = ()

# --- measurement: agreement, variation, trend model ------------------------------------------
MEASUREMENT: tuple[Source, ...] = (
    Source(
        "Byrne2014",
        "Byrne et al.",
        "Peripheral venous and arterial blood gas analysis in adults: are they comparable?",
        2014,
        "Respirology",
        "abstract (title from memory)",
        Mark.SEEN,
    ),
    Source(
        "VenousReview2012",
        "authors not visible",
        "Arteriovenous agreement in emergency departments, review to September 2012",
        2012,
        "abstract mirror",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "LimKelly2010",
        "Lim, Kelly",
        "The utility of peripheral venous blood gas analyses in exacerbations of COPD: meta-analysis",
        2010,
        "Eur J Emerg Med",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Lou2019Venous",
        "Lou Bingheng et al.",
        "Peripheral venous and arterial blood gas in exacerbated COPD: a meta-analysis",
        2019,
        "Notfall Rettungsmed",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "McKeever2016",
        "McKeever et al.",
        "Using venous blood gas analysis in the assessment of COPD exacerbations",
        2016,
        "Thorax",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Zavorsky2007Capillary",
        "Zavorsky, Cao, Mayo, Gabbay, Murias",
        "Arterial versus capillary blood gases: a meta-analysis",
        2007,
        "Respir Physiol Neurobiol",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Murphy2006",
        "Murphy R. et al.",
        "Capillary blood gases in acute exacerbations of COPD",
        2006,
        "Respir Med",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Magnet2017Capillary",
        "Magnet et al.",
        "Capillary PO2 does not adequately reflect arterial PO2 in hypoxemic COPD patients",
        2017,
        "Int J COPD",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Conway2019Transcutaneous",
        "Conway et al.",
        "Accuracy and precision of transcutaneous CO2 monitoring: systematic review and meta-analysis",
        2019,
        "Thorax 74:157",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Aarrestad2016",
        "Aarrestad et al.",
        "Validity of transcutaneous PCO2 in monitoring chronic hypoventilation treated with NIV",
        2016,
        "Respir Med",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Hazenberg2011",
        "Hazenberg et al.",
        "Validation of a transcutaneous CO2 monitor in adults with chronic respiratory failure",
        2011,
        "Respiration",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Horvath2016",
        "Horvath et al.",
        "Transcutaneous versus blood carbon dioxide monitoring during acute NIV in the emergency department",
        2016,
        "Swiss Med Wkly",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Berlowitz2011",
        "Berlowitz et al.",
        "Transcutaneous CO2 during extended monitoring: correcting calibration drift",
        2011,
        "Respir Care",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Domingo2010",
        "Domingo et al.",
        "Optimal clinical time for reliable measurement of transcutaneous CO2 with ear probes",
        2010,
        "Sensors",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "NasoBuccal2014",
        "authors not visible",
        "End-tidal CO2 monitoring using a naso-buccal sensor is not appropriate during NIV",
        2014,
        "Ann Intensive Care, s13613-014-0042-8",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Mascat2022",
        "authors not visible",
        "MASCAT-NIV trial: mainstream and sidestream end-tidal CO2 during NIV",
        2022,
        "J Intensive Care, s40560-022-00603-w",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "HardingFraser1987",
        "Harding, Fraser",
        "Biological variation of blood acid-base status",
        1987,
        "Clin Chem",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Thorson1983",
        "Thorson et al.",
        "Variability of arterial blood gas values in stable patients in the ICU",
        1983,
        "Chest",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "RepeatGas2015",
        "authors not visible",
        "Repeatability of two immediate arterial samples, 192 intensive-care patients",
        2015,
        "PMC4602629",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Cuhadar2022",
        "Cuhadar et al.",
        "Detection of preanalytical errors in arterial blood gas analysis",
        2022,
        "Biochem Med",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "KerlModes2019",
        "Kerl et al.",
        "Spontaneous-timed versus controlled noninvasive ventilation in chronic hypercapnia",
        2019,
        "Med Devices 12:173",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Duiverman2020Start",
        "Duiverman et al.",
        "Home initiation of chronic NIV in COPD",
        2020,
        "Thorax 75:244",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Liao2017",
        "Liao et al.",
        "Noninvasive ventilation against oxygen in stable COPD: meta-analysis of seven trials",
        2017,
        "PMC5644568",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "DuchenneNight1990",
        "authors not visible",
        "Long-term follow-up of nocturnal ventilatory assistance in Duchenne muscular dystrophy",
        1990,
        "Chest, PMID 2104794",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "Simonds1998Duchenne",
        "Simonds et al.",
        "Impact of nasal ventilation on survival in hypercapnic Duchenne muscular dystrophy",
        1998,
        "Thorax",
        "abstract",
        Mark.SEEN,
    ),
    Source(
        "DurbinKoopman2012",
        "Durbin, Koopman",
        "Time Series Analysis by State Space Methods, 2nd edition",
        2012,
        "Oxford University Press",
        "nothing",
        Mark.MEMORY_HIGH,
    ),
    Source(
        "CommandeurKoopman2007",
        "Commandeur, Koopman",
        "An Introduction to State Space Time Series Analysis",
        2007,
        "Oxford University Press",
        "nothing",
        Mark.MEMORY_HIGH,
    ),
    Source(
        "HarveyDurbin1986",
        "Harvey, Durbin",
        "The effects of seat belt legislation on British road casualties",
        1986,
        "J R Stat Soc A",
        "nothing",
        Mark.MEMORY_HIGH,
    ),
    Source(
        "Bates2015",
        "Bates, Maechler, Bolker, Walker",
        "Fitting linear mixed-effects models using lme4",
        2015,
        "J Stat Softw 67(1)",
        "nothing",
        Mark.MEMORY_HIGH,
    ),
    Source(
        "Christensen2019",
        "Christensen",
        "Cumulative link models for ordinal regression (the wine data of Randall 1989)",
        2019,
        "R package ordinal, vignette",
        "nothing",
        Mark.MEMORY_MEDIUM,
    ),
    Source(
        "BlandAltman1995",
        "Bland, Altman",
        "Calculating correlation coefficients with repeated observations: part 1",
        1995,
        "BMJ 310:446",
        "nothing",
        Mark.MEMORY_HIGH,
    ),
    Source(
        "BlandAltman1986",
        "Bland, Altman",
        "Statistical methods for assessing agreement between two methods of clinical measurement",
        1986,
        "Lancet i:307",
        "nothing",
        Mark.MEMORY_HIGH,
    ),
    Source(
        "WestfallYoung1993",
        "Westfall, Young",
        "Resampling-Based Multiple Testing",
        1993,
        "Wiley",
        "nothing",
        Mark.MEMORY_HIGH,
    ),
    Source(
        "TheilSen1968",
        "Sen",
        "Estimates of the regression coefficient based on Kendall's tau",
        1968,
        "J Am Stat Assoc 63:1379",
        "nothing",
        Mark.MEMORY_HIGH,
    ),
    Source(
        "MannKendall1945",
        "Mann",
        "Nonparametric tests against trend",
        1945,
        "Econometrica 13:245",
        "nothing",
        Mark.MEMORY_HIGH,
    ),
    Source(
        "Montgomery2012",
        "Montgomery",
        "Introduction to Statistical Quality Control (EWMA and CUSUM charts)",
        2012,
        "Wiley",
        "nothing",
        Mark.MEMORY_MEDIUM,
    ),
    Source(
        "TrendStudy",
        "hvmon developers",
        "Seeded coverage, detection and speed studies of the CO2 trend model",
        None,
        "docs/trend.md, docs/studies",
        "run and measured",
        Mark.COMPUTED,
    ),
)

# --- overnight: scoring and formats ----------------------------------------------------------
OVERNIGHT: tuple[Source, ...] = ()

# --- the project's own judgement and the custom of the trade ---------------------------------
OWN: tuple[Source, ...] = (
    Source(
        "Project",
        "hvmon developers",
        "Design choice of this project",
        None,
        "docs/decisions.md",
        "stated with its reason in docs/decisions.md",
        Mark.JUDGEMENT,
    ),
    Source(
        "Practice",
        "",
        "Common practice of home-ventilation teams",
        None,
        "no published source found",
        "nothing",
        Mark.PRACTICE,
    ),
)

SOURCES: tuple[Source, ...] = CLINICAL + PHYSIOLOGY + MEASUREMENT + OVERNIGHT + OWN
BY_KEY: dict[str, Source] = {source.key: source for source in SOURCES}


def source(key: str) -> Source:
    """Give the source of a key, for example ``source("Mokhlesi2019")``.

    Raises
    ------
    KeyError
        No such key; the message lists where keys stand.
    """
    try:
        return BY_KEY[key]
    except KeyError:
        raise KeyError(f"no source {key!r}; the keys are those of hvmon/sources.py") from None
