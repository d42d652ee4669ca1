"""The invented people of the demo: who they are, and the story each record shows.

Every name, place and number is invented. Days count from the demo's last day (0); -365 is a year before.
"""

from dataclasses import dataclass, field

from hvmon.vocabulary import Dependence, DiagnosisGroup, Sex

G = DiagnosisGroup
F, M = Sex.FEMALE, Sex.MALE


@dataclass(frozen=True, slots=True)
class Invented:
    """One invented person."""

    name: str
    place: str
    born: str
    sex: Sex
    height_cm: int
    weight_kg: float
    group: DiagnosisGroup
    diagnosis: str
    story: str
    dependence: Dependence = Dependence.NIGHT_ONLY
    oxygen_l_min: float = 0.0
    mmhg: bool = False
    """The unit this person's usual laboratory prints."""
    options: dict[str, float] = field(default_factory=dict)


PEOPLE: tuple[Invented, ...] = (
    Invented("Orla Fennimore", "Quillbeck", "1951-04-12", F, 158, 62, G.COPD, "COPD, two exacerbations a year",
             "mask_wear", oxygen_l_min=1.0),
    Invented("Tobias Wrenfield", "Upper Sallow", "1968-09-30", M, 176, 141, G.OBESITY_HYPOVENTILATION,
             "obesity hypoventilation with sleep apnoea", "recovery", mmhg=True),
    Invented("Greta Holloway", "Marl End", "1959-01-22", F, 163, 71, G.CHEST_WALL, "kyphoscoliosis",
             "off_to_on"),
    Invented("Ivo Castelmaine", "Quillbeck", "1972-06-03", M, 181, 84, G.OTHER_NEUROMUSCULAR,
             "myotonic dystrophy type 1", "venous_spike"),
    Invented("Petra Lindqvist-Moor", "Dunmallow", "1963-11-17", F, 166, 118, G.OBESITY_HYPOVENTILATION,
             "obesity hypoventilation", "weight_gain", mmhg=True),
    Invented("Caspian Rook", "Seven Stiles", "1949-02-08", M, 172, 68, G.COPD, "COPD after two hypercapnic admissions",
             "infection", oxygen_l_min=2.0),
    Invented("Maren Oakhanger", "Upper Sallow", "1977-07-25", F, 170, 96, G.OBESITY_HYPOVENTILATION,
             "obesity hypoventilation", "under_use", mmhg=True),
    Invented("Lucan Ferris", "Tarn Hollow", "1990-03-14", M, 178, 60, G.OTHER_NEUROMUSCULAR,
             "limb-girdle muscular dystrophy", "over_ventilation"),
    Invented("Sidony Vale", "Marl End", "1956-12-01", F, 155, 54, G.CHEST_WALL, "old thoracoplasty",
             "lost_recheck"),
    Invented("Bram Thistlewood", "Dunmallow", "1947-08-19", M, 170, 73, G.COPD, "COPD with bronchiectasis",
             "oxygen_excess", oxygen_l_min=1.0),
    Invented("Nerys Calloway", "Quillbeck", "1960-05-05", F, 161, 66, G.CHEST_WALL, "kyphoscoliosis, spinal fusion",
             "unit_slip"),
    Invented("Alaric Penhale", "Seven Stiles", "1966-10-10", M, 175, 70, G.MOTOR_NEURONE_DISEASE,
             "motor neurone disease, limb onset", "fast_decline"),
    Invented("Rosamund Tye", "Tarn Hollow", "1958-03-27", F, 164, 58, G.MOTOR_NEURONE_DISEASE,
             "motor neurone disease, bulbar onset", "not_yet_ventilated",
             dependence=Dependence.NOT_YET_VENTILATED),
    Invented("Finn Abernathy-Low", "Upper Sallow", "2006-09-09", M, 165, 52, G.DUCHENNE, "Duchenne muscular dystrophy",
             "day_ventilation", dependence=Dependence.NIGHT_AND_DAY),
    Invented("Jory Sandcroft", "Marl End", "2014-04-02", M, 140, 38, G.DUCHENNE, "Duchenne muscular dystrophy",
             "child_night"),
    Invented("Elspeth Marrow", "Dunmallow", "1984-06-18", F, 168, 57, G.TRACHEOSTOMY, "high spinal cord injury",
             "trache_low", dependence=Dependence.CONTINUOUS),
    Invented("Hugo Bellweather", "Quillbeck", "1953-01-30", M, 174, 80, G.COPD, "COPD", "two_changes_at_once",
             oxygen_l_min=1.0),
    Invented("Thea Ironside", "Seven Stiles", "1970-02-11", F, 159, 104, G.OBESITY_HYPOVENTILATION,
             "obesity hypoventilation", "clinic_to_home", mmhg=True),
    Invented("Magnus Derry", "Tarn Hollow", "1962-08-08", M, 183, 92, G.OTHER_NEUROMUSCULAR, "acid maltase deficiency",
             "slow_rise"),
    Invented("Isolde Farthing", "Upper Sallow", "1955-09-21", F, 157, 49, G.COPD, "COPD, low body weight",
             "symptoms_without_co2", oxygen_l_min=0.5),
    Invented("Rufus Hallam-Birch", "Marl End", "1979-11-03", M, 179, 150, G.OBESITY_HYPOVENTILATION,
             "obesity hypoventilation", "leak", mmhg=True),
    Invented("Clemency Stroud", "Dunmallow", "1945-05-16", F, 154, 60, G.CHEST_WALL, "kyphoscoliosis", "stable",
             options={"usual": 6.1}),
    Invented("Osric Tallow", "Quillbeck", "1952-07-07", M, 169, 77, G.COPD, "COPD", "stable",
             oxygen_l_min=1.0, options={"usual": 6.8}),
    Invented("Linnet Grays", "Seven Stiles", "1988-12-12", F, 167, 63, G.OTHER_NEUROMUSCULAR,
             "congenital myopathy", "stable", options={"usual": 5.6}),
    Invented("Percival Undercliff", "Tarn Hollow", "1961-03-03", M, 177, 128, G.OBESITY_HYPOVENTILATION,
             "obesity hypoventilation", "stable", mmhg=True, options={"usual": 5.8}),
    Invented("Ada Winterbourne", "Upper Sallow", "1950-10-25", F, 160, 70, G.COPD, "COPD", "diuretic",
             oxygen_l_min=1.5),
    Invented("Corin Maybury", "Marl End", "1996-02-29", M, 171, 55, G.DUCHENNE, "Duchenne muscular dystrophy",
             "stable", dependence=Dependence.NEAR_CONTINUOUS, options={"usual": 5.4}),
    Invented("Beatrix Ollerton", "Dunmallow", "1967-06-06", F, 162, 88, G.OBESITY_HYPOVENTILATION,
             "obesity hypoventilation", "new_start", mmhg=True),
    Invented("Silas Greengage", "Quillbeck", "1957-04-19", M, 173, 65, G.MOTOR_NEURONE_DISEASE,
             "motor neurone disease", "stable", options={"usual": 5.7}),
    Invented("Hester Kingsway", "Seven Stiles", "1973-09-13", F, 165, 72, G.CHEST_WALL, "ankylosing spondylitis",
             "hinge"),
    Invented("Jasper Lowmoor", "Tarn Hollow", "1948-01-15", M, 168, 59, G.COPD, "COPD", "flap", oxygen_l_min=2.0),
    Invented("Viola Summerscale", "Upper Sallow", "1982-08-28", F, 169, 74, G.OTHER_NEUROMUSCULAR,
             "post-polio syndrome", "stable", options={"usual": 6.0}),
    Invented("Ambrose Tetlow", "Marl End", "1964-05-31", M, 180, 135, G.OBESITY_HYPOVENTILATION,
             "obesity hypoventilation", "deescalation", mmhg=True),
    Invented("Winifred Dale", "Dunmallow", "1943-11-11", F, 152, 47, G.COPD, "COPD, end of life care",
             "goals", oxygen_l_min=1.0),
    Invented("Kit Rainsford", "Quillbeck", "2011-07-04", M, 150, 41, G.OTHER_NEUROMUSCULAR,
             "spinal muscular atrophy type 2", "stable", options={"usual": 5.5}),
    Invented("Morwenna Slate", "Seven Stiles", "1969-12-24", F, 171, 68, G.TRACHEOSTOMY, "central hypoventilation",
             "stable", dependence=Dependence.NIGHT_AND_DAY, options={"usual": 5.2}),
    Invented("Dorian Pike", "Tarn Hollow", "1954-02-02", M, 175, 83, G.COPD, "COPD", "sparse",
             oxygen_l_min=1.0),
    Invented("Ottilie Marchbanks", "Upper Sallow", "1976-10-08", F, 164, 61, G.CHEST_WALL, "scoliosis", "sedative"),
    Invented("Fergus Anstey", "Marl End", "1958-08-17", M, 174, 78, G.UNKNOWN, "referred, not yet seen", "referred"),
    Invented("Perpetua Knowles", "Dunmallow", "1965-03-09", F, 158, 95, G.OBESITY_HYPOVENTILATION,
             "obesity hypoventilation", "unrecorded_settings", mmhg=True),
)  # fmt: skip
