"""What happens to each invented person: level of CO2, changes, samples, use, events. All invented."""

from dataclasses import dataclass, field, replace

from hvmon.vocabulary import ChangeKind, EventKind, MedicineClass, SampleKind, SampleReason, TestKind

A, E, V = SampleKind.ARTERIAL, SampleKind.CAPILLARY_EARLOBE, SampleKind.VENOUS
ROUTINE, LED, AFTER = SampleReason.ROUTINE, SampleReason.SYMPTOM_LED, SampleReason.AFTER_CHANGE


@dataclass(frozen=True, slots=True)
class Sample:
    """One planned sample."""

    day: int
    kind: SampleKind = E
    on: bool = False
    oxygen: float | None = None
    reason: SampleReason = ROUTINE
    add_kpa: float = 0.0
    """Invented gross error or acute rise on top of the usual level."""
    acute: bool = False
    """An acute rise: bicarbonate has not followed."""
    slip: bool = False
    """mmHg typed in the kPa field, corrected the next day."""


@dataclass(frozen=True, slots=True)
class Change:
    """One planned settings change."""

    day: int
    ipap: float
    epap: float
    rate: float
    why: str
    kind: ChangeKind = ChangeKind.ESCALATION
    owed: TestKind = TestKind.DAY_GAS
    urgent: bool = False


@dataclass(frozen=True, slots=True)
class Event:
    """One planned event."""

    day: int
    kind: EventKind
    detail: str = ""
    days: int | None = None
    medicine: MedicineClass | None = None
    oxygen: float | None = None


@dataclass(frozen=True, slots=True)
class Night:
    """One planned night study, and the story of its signal if it has one."""

    day: int
    on: bool = True
    mean_spo2: float = 93.0
    below_90_min: float = 12.0
    tc_mean_kpa: float | None = 6.0
    tc_peak_kpa: float | None = 6.6
    signal: str = ""


@dataclass(frozen=True, slots=True)
class Story:
    """One record's plot. `level` knots are (day, usual PaCO2 awake off the ventilator in kPa)."""

    level: tuple[tuple[int, float], ...]
    changes: tuple[Change, ...]
    samples: tuple[Sample, ...]
    use_h: tuple[tuple[int, float], ...] = ((-1095, 7.4), (0, 7.4))
    leak: tuple[tuple[int, float], ...] = ((-1095, 9.0), (0, 9.0))
    volume: tuple[tuple[int, float], ...] = ((-1095, 1.0), (0, 1.0))
    events: tuple[Event, ...] = ()
    nights: tuple[Night, ...] = ()
    weight: tuple[tuple[int, float], ...] = ((-1000, 1.0), (-500, 1.0), (-30, 1.0))
    """(day, share of the person's usual weight)."""
    fvc_pct: tuple[tuple[int, float], ...] = ()
    symptom_shift: float = 0.0
    """Points on every rating beyond what CO2 explains."""
    flap_day: int | None = None
    decisions: tuple[tuple[int, str, str, str, int], ...] = ()
    """(day, decision, action, owner, due day)."""
    readings_of_settings: tuple[tuple[int, float], ...] = ()
    """(day, IPAP read at the machine)."""
    goals: str = ""
    options: dict[str, float] = field(default_factory=dict)


def _start(day: int, *, ipap: float = 18, epap: float = 5, rate: float = 14) -> Change:
    return Change(day, ipap, epap, rate, "start of home ventilation", ChangeKind.INITIATION,
                  TestKind.DAY_GAS_AND_NIGHT)  # fmt: skip


def _routine(*days: int, kind: SampleKind = E, on: bool = False) -> tuple[Sample, ...]:
    return tuple(Sample(day, kind, on) for day in days)


def stable(usual: float = 6.0) -> Story:
    """Nothing happens: the reading wanders about its usual level."""
    return Story(
        ((-1095, usual + 1.3), (-1000, usual), (0, usual)),
        (_start(-1060),),
        (Sample(-1070, A), *_routine(-1020, -830, -640, -455, -270, -85)),
        nights=(Night(-1015), Night(-640), Night(-80)),
    )


def mask_wear() -> Story:
    """CO2 drifts up as the mask wears and leaks."""
    return Story(
        ((-1095, 7.9), (-980, 6.6), (-420, 6.6), (-40, 7.8), (0, 7.9)),
        (_start(-1050, ipap=22), Change(-700, 24, 5, 15, "morning headaches")),
        (Sample(-1055, A), *_routine(-1000, -840, -665, -480, -300, -150, -60), Sample(-12, E, reason=LED)),
        leak=((-1095, 8), (-400, 9), (-120, 22), (0, 41)),
        volume=((-1095, 1.0), (-400, 1.0), (0, 0.83)),
        nights=(
            Night(-990, signal="hypoventilation before"),
            Night(-640, tc_mean_kpa=6.3, tc_peak_kpa=6.9, signal="hypoventilation after"),
            Night(-20, mean_spo2=89.5, below_90_min=148, tc_mean_kpa=7.6, tc_peak_kpa=8.4, signal="leak"),
        ),
    )


def recovery() -> Story:
    """A settings change works: CO2 falls and stays down."""
    return Story(
        ((-1095, 8.6), (-940, 7.2), (-330, 7.3), (-320, 7.3), (-270, 6.3), (0, 6.1)),
        (_start(-1000, ipap=20, epap=8), Change(-320, 26, 10, 16, "CO2 above goal at review",
                                                owed=TestKind.DAY_GAS_AND_NIGHT)),
        (Sample(-1010, A), *_routine(-950, -800, -640, -480, -330), Sample(-285, E, reason=AFTER),
         *_routine(-200, -110, -20)),
        nights=(Night(-335, tc_mean_kpa=7.4, tc_peak_kpa=8.1, below_90_min=120, mean_spo2=89, signal="hypoventilation before"),
                Night(-280, tc_mean_kpa=6.1, tc_peak_kpa=6.5, signal="hypoventilation after")),
    )  # fmt: skip


def off_to_on() -> Story:
    """The CO2 seems to fall only because the sample moved from off to on the ventilator."""
    return Story(
        ((-1095, 7.6), (-1000, 6.7), (0, 6.8)),
        (_start(-1050), Change(-190, 20, 5, 16, "tiredness")),
        (Sample(-1055, A), *_routine(-990, -820, -600, -400, -210), Sample(-150, E, on=True, reason=AFTER),
         Sample(-40, E, on=True)),
    )  # fmt: skip


def venous_spike() -> Story:
    """A venous sample among capillaries looks like a jump."""
    return Story(
        ((-1095, 6.9), (-1000, 6.1), (0, 6.2)),
        (_start(-1060),),
        (Sample(-1062, A), *_routine(-1000, -820, -640, -450, -260, -120),
         Sample(-35, V, add_kpa=0.7, reason=LED), Sample(-10, E)),
        fvc_pct=((-1000, 58), (-500, 55), (-120, 53)),
    )  # fmt: skip


def weight_gain() -> Story:
    """Weight goes up by a fifth and CO2 follows."""
    return Story(
        ((-1095, 7.4), (-1000, 6.0), (-500, 6.0), (0, 7.1)),
        (_start(-1040, ipap=20, epap=8),),
        (Sample(-1045, A), *_routine(-985, -800, -620, -430, -280, -140, -30)),
        weight=((-1040, 0.95), (-800, 0.96), (-500, 1.0), (-250, 1.1), (-30, 1.19)),
    )


def infection() -> Story:
    """Infection and admission with acute rise, then recovery; gas owed after discharge is missing."""
    return Story(
        ((-1095, 7.9), (-1000, 6.9), (0, 7.0)),
        (_start(-1050, ipap=22),),
        (Sample(-1052, A), *_routine(-990, -830, -660, -500, -330, -160),
         Sample(-44, A, add_kpa=2.3, acute=True, reason=LED)),
        events=(Event(-300, EventKind.INFECTION, "chest infection treated at home", 10),
                Event(-47, EventKind.INFECTION, "more sputum, fever", 12),
                Event(-44, EventKind.ADMISSION_HYPERCAPNIC, "acidotic on arrival", 9),
                Event(-44, EventKind.MEDICINE_STARTED, "course of antibiotic", medicine=MedicineClass.ANTIBIOTIC),
                Event(-35, EventKind.DISCHARGE, "home on usual settings")),
    )  # fmt: skip


def under_use() -> Story:
    """Hours of use fall away; CO2 rises."""
    return Story(
        ((-1095, 7.7), (-1000, 6.1), (-260, 6.2), (0, 7.2)),
        (_start(-1040, ipap=20, epap=9),),
        (Sample(-1045, A), *_routine(-980, -790, -600, -420, -240, -100, -15)),
        use_h=((-1095, 6.8), (-280, 6.6), (-200, 4.4), (-60, 2.6), (0, 2.2)),
    )


def over_ventilation() -> Story:
    """A change goes too far: low CO2, pins and needles, periodic breathing at night."""
    return Story(
        ((-1095, 6.4), (-1000, 5.6), (-130, 5.6), (-90, 4.2), (0, 4.1)),
        (_start(-1030, ipap=16), Change(-125, 24, 4, 20, "wanted more rest at night")),
        (Sample(-1035, A), *_routine(-960, -760, -560, -360, -140), Sample(-80, E, reason=AFTER), Sample(-14, E)),
        nights=(Night(-900), Night(-78, mean_spo2=95, below_90_min=3, tc_mean_kpa=4.3, tc_peak_kpa=4.9,
                                   signal="periodic breathing")),
        fvc_pct=((-900, 44), (-400, 42), (-80, 41)),
    )  # fmt: skip


def lost_recheck() -> Story:
    """The recheck owed after a change was never done."""
    return Story(
        ((-1095, 7.6), (-1000, 6.5), (0, 6.7)),
        (_start(-1045), Change(-260, 22, 5, 16, "CO2 above goal", owed=TestKind.DAY_GAS_AND_NIGHT)),
        (Sample(-1050, A), *_routine(-985, -800, -610, -430, -270)),
        events=(Event(-200, EventKind.MISSED_VISIT, "snow closed the valley road"),),
    )


def oxygen_excess() -> Story:
    """Oxygen was turned up; saturation looks fine while CO2 climbs."""
    return Story(
        ((-1095, 7.6), (-1000, 6.7), (-95, 6.7), (-60, 7.7), (0, 7.8)),
        (_start(-1050, ipap=22),),
        (Sample(-1052, A), *_routine(-990, -800, -620, -440, -260, -110),
         Sample(-50, E, oxygen=3.0, reason=LED), Sample(-9, A, oxygen=3.0)),
        events=(Event(-95, EventKind.OXYGEN_CHANGE, "oxygen raised on the ward", oxygen=3.0),
                Event(-110, EventKind.ADMISSION, "hip fracture", 14)),
        nights=(Night(-600, mean_spo2=91), Night(-45, mean_spo2=96, below_90_min=1, tc_mean_kpa=7.7,
                                                 tc_peak_kpa=8.6, signal="oxygen retention")),
    )  # fmt: skip


def unit_slip() -> Story:
    """mmHg typed in the kPa field, found and corrected the day after."""
    story = stable(6.2)
    return replace(story, samples=(*story.samples, Sample(-22, E, slip=True)))


def fast_decline() -> Story:
    """Motor neurone disease: quick decline, use goes up."""
    return Story(
        ((-420, 5.6), (-300, 6.3), (-250, 5.9), (-100, 6.4), (0, 7.6)),
        (_start(-290, ipap=14, epap=4, rate=12), Change(-110, 18, 4, 14, "orthopnoea")),
        (Sample(-300, A, reason=LED), *_routine(-240, -170), Sample(-112, E, reason=LED),
         Sample(-70, E, reason=AFTER), Sample(-6, E, reason=LED)),
        use_h=((-290, 5.0), (-100, 9.0), (0, 15.5)),
        fvc_pct=((-310, 68), (-200, 54), (-110, 43), (-6, 31)),
        nights=(Night(-230), Night(-68, tc_mean_kpa=6.8, tc_peak_kpa=7.4)),
    )  # fmt: skip


def not_yet_ventilated() -> Story:
    """Motor neurone disease, not yet ventilated, first raised CO2."""
    return Story(
        ((-300, 5.2), (-100, 5.5), (0, 6.4)),
        (),
        (*_routine(-200, -95), Sample(-3, E, reason=LED)),
        use_h=(),
        fvc_pct=((-200, 82), (-95, 66), (-3, 52)),
    )


def day_ventilation() -> Story:
    """Night ventilation no longer enough; daytime CO2 rises through the day."""
    return Story(
        ((-1095, 6.0), (-500, 5.8), (0, 6.7)),
        (_start(-1030, ipap=16, epap=4, rate=16), Change(-400, 18, 4, 18, "tired in the afternoon")),
        (Sample(-1035, A), *_routine(-900, -700, -520), Sample(-350, E, reason=AFTER), *_routine(-180, -25)),
        use_h=((-1095, 8.5), (-500, 9.0), (0, 13.0)),
        fvc_pct=((-1000, 34), (-640, 28), (-320, 22), (-25, 17)),
    )


def child_night() -> Story:
    """A child whose night CO2 is above the paediatric definition while the day is normal."""
    return Story(
        ((-400, 5.4), (0, 5.6)),
        (),
        _routine(-380, -200, -20),
        use_h=(),
        nights=(Night(-190, on=False, tc_mean_kpa=5.9, tc_peak_kpa=6.5),
                Night(-18, on=False, mean_spo2=94, below_90_min=6, tc_mean_kpa=6.7, tc_peak_kpa=7.3)),
        fvc_pct=((-380, 61), (-190, 55), (-18, 50)),
    )  # fmt: skip


def trache_low() -> Story:
    """Tracheostomy, always ventilated, CO2 on the low side after a volume change."""
    return Story(
        ((-1095, 5.2), (-200, 5.1), (-150, 4.4), (0, 4.3)),
        (_start(-1080, ipap=20, epap=5, rate=16), Change(-160, 24, 5, 18, "atelectasis after infection")),
        (Sample(-1082, A, on=True), *(Sample(day, E, on=True) for day in (-900, -720, -540, -360, -180)),
         Sample(-120, A, on=True, reason=AFTER), Sample(-30, E, on=True)),
        use_h=((-1095, 23.8), (0, 23.8)),
        leak=((-1095, 3.0), (0, 3.0)),
    )  # fmt: skip


def two_changes_at_once() -> Story:
    """Pressure and oxygen changed on one day, infection in the window: no effect can be attributed."""
    return Story(
        ((-1095, 7.7), (-1000, 6.9), (-220, 7.1), (-170, 6.6), (0, 6.7)),
        (_start(-1040, ipap=20), Change(-215, 24, 6, 16, "CO2 above goal")),
        (Sample(-1044, A), *_routine(-980, -790, -600, -410, -225), Sample(-165, E, oxygen=2.0, reason=AFTER),
         Sample(-60, E, oxygen=2.0)),
        events=(Event(-215, EventKind.OXYGEN_CHANGE, "oxygen raised to 2 L/min", oxygen=2.0),
                Event(-205, EventKind.INFECTION, "chest cold", 14)),
    )  # fmt: skip


def clinic_to_home() -> Story:
    """Arterial samples in clinic in the first year, capillary and venous at home later; nothing changed."""
    return Story(
        ((-1095, 7.2), (-1000, 6.2), (0, 6.2)),
        (_start(-1040, ipap=22, epap=9),),
        (*_routine(-1045, -980, -900, -820, -740, kind=A), *_routine(-500, -330), Sample(-250, V), Sample(-170, V),
         Sample(-90, V), Sample(-20, V)),
    )  # fmt: skip


def slow_rise() -> Story:
    """A slow rise over three years."""
    return Story(
        ((-1095, 5.5), (0, 6.7)),
        (_start(-1070, ipap=16, epap=4, rate=14),),
        (Sample(-1072, A), *_routine(-1000, -850, -700, -560, -430, -300, -180, -70, -5)),
        fvc_pct=((-1000, 52), (-640, 47), (-320, 42), (-5, 36)),
    )


def symptoms_without_co2() -> Story:
    """Symptoms up, gases unchanged."""
    story = stable(6.5)
    return replace(story, symptom_shift=4.0, use_h=((-1095, 6.2), (0, 5.6)))


def leak() -> Story:
    """Leak after a new mask; triggering poor."""
    return Story(
        ((-1095, 7.5), (-1000, 6.2), (-80, 6.2), (0, 6.8)),
        (_start(-1040, ipap=24, epap=10),),
        (Sample(-1045, A), *_routine(-970, -780, -590, -400, -210, -95, -8)),
        leak=((-1095, 10), (-85, 10), (-80, 48), (0, 55)),
        events=(Event(-82, EventKind.EQUIPMENT, "new mask, other size"),),
        nights=(
            Night(-970, signal="obstruction"),
            Night(-30, mean_spo2=90, below_90_min=95, signal="probe off"),
        ),
    )


def diuretic() -> Story:
    """Metabolic alkalosis from a diuretic: bicarbonate does not corroborate."""
    story = stable(6.6)
    return replace(
        story,
        events=(Event(-140, EventKind.MEDICINE_STARTED, "loop diuretic", medicine=MedicineClass.DIURETIC),),
        options={"extra_hco3": 6.0, "extra_from": -130},
    )


def new_start() -> Story:
    """Just started; first control is due."""
    return Story(
        ((-200, 8.2), (-38, 8.0), (-10, 7.1), (0, 6.9)),
        (_start(-38, ipap=18, epap=8),),
        (Sample(-120, A), Sample(-40, A)),
        use_h=((-38, 5.2), (0, 6.3)),
        nights=(Night(-45, on=False, mean_spo2=84, below_90_min=310, tc_mean_kpa=8.4, tc_peak_kpa=9.6),),
    )


def hinge() -> Story:
    """Stable for two years, then a rise from an autumn on."""
    return Story(
        ((-1095, 6.9), (-1000, 6.0), (-260, 6.0), (0, 7.2)),
        (_start(-1040),),
        (Sample(-1042, A), *_routine(-960, -760, -560, -380, -250, -170, -90, -25)),
        nights=(
            Night(-961, signal="clock change"),
            Night(-24, tc_mean_kpa=7.3, tc_peak_kpa=8.0, below_90_min=70),
        ),
    )


def flap() -> Story:
    """New flap and drowsiness at a home visit."""
    return Story(
        ((-1095, 7.8), (-1000, 6.9), (-20, 7.1), (-2, 9.2), (0, 9.4)),
        (_start(-1040, ipap=20),),
        (Sample(-1044, A), *_routine(-980, -800, -620, -430, -250, -100),
         Sample(-1, E, reason=LED, acute=True)),
        flap_day=-1,
        symptom_shift=1.0,
        use_h=((-1095, 7.0), (-20, 7.0), (0, 11.0)),
    )  # fmt: skip


def deescalation() -> Story:
    """Pressure lowered for comfort after weight loss; CO2 holds."""
    return Story(
        ((-1095, 8.0), (-980, 5.9), (-300, 5.6), (0, 5.7)),
        (_start(-1040, ipap=26, epap=10),
         Change(-280, 20, 8, 14, "weight lost, pressure felt high", ChangeKind.DE_ESCALATION)),
        (Sample(-1044, A), *_routine(-980, -800, -620, -450, -290), Sample(-240, E, reason=AFTER),
         *_routine(-120, -30)),
        weight=((-1040, 1.0), (-700, 0.94), (-290, 0.83), (-30, 0.82)),
    )  # fmt: skip


def goals() -> Story:
    """Goals of care come first: comfort, no more samples wanted."""
    story = stable(7.4)
    return replace(
        story,
        goals="Wishes comfort at home; declines admission and further blood samples (talked over on day -60).",
        samples=story.samples[:-1],
        events=(Event(-60, EventKind.REFUSAL, "declines further samples"),),
    )


def sparse() -> Story:
    """Too few readings to tell anything."""
    return Story(
        ((-1095, 7.3), (-980, 6.5), (0, 6.9)),
        (_start(-1030, ipap=20),),
        (Sample(-1035, A), Sample(-640, E), Sample(-40, V)),
        events=(
            Event(-300, EventKind.MISSED_VISIT, "not at home"),
            Event(-120, EventKind.MISSED_VISIT, "not at home"),
        ),
    )


def sedative() -> Story:
    """A sedating medicine precedes the rise."""
    return Story(
        ((-1095, 6.8), (-1000, 6.0), (-75, 6.1), (-40, 7.0), (0, 7.0)),
        (_start(-1040),),
        (Sample(-1045, A), *_routine(-970, -780, -590, -400, -210, -85, -20)),
        events=(Event(-75, EventKind.MEDICINE_STARTED, "for nerve pain", medicine=MedicineClass.GABAPENTINOID),
                Event(-70, EventKind.MEDICINE_STARTED, "at night", medicine=MedicineClass.OPIOID)),
    )  # fmt: skip


def referred() -> Story:
    """Referred with an unknown diagnosis group: no verdict is possible."""
    return Story(((-60, 6.6), (0, 6.6)), (), (Sample(-20, A),), use_h=())


def unrecorded_settings() -> Story:
    """The machine's settings differ from the order: changed at home, not recorded."""
    story = stable(6.3)
    return replace(story, readings_of_settings=((-640, 18.0), (-85, 15.0)))


STORIES = {
    function.__name__: function
    for function in (
        stable, mask_wear, recovery, off_to_on, venous_spike, weight_gain, infection, under_use, over_ventilation,
        lost_recheck, oxygen_excess, unit_slip, fast_decline, not_yet_ventilated, day_ventilation, child_night,
        trache_low, two_changes_at_once, clinic_to_home, slow_rise, symptoms_without_co2, leak, diuretic, new_start,
        hinge, flap, deescalation, goals, sparse, sedative, referred, unrecorded_settings,
    )
}  # fmt: skip
