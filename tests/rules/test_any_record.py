"""Whatever a valid record holds, every rule answers, and nothing raises."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from hvmon.rules.catalogue import RULES
from hvmon.rules.entry import questions
from hvmon.rules.judge import findings, goals
from hvmon.rules.need import need
from hvmon.rules.owed import owed
from hvmon.rules.packs import Pack, pack_for
from hvmon.vocabulary import (
    NOT_RECORDED,
    ActionState,
    Answer,
    BaseExcessKind,
    BicarbonateKind,
    ChangeUrgency,
    Dependence,
    DiagnosisGroup,
    DriftCorrection,
    EventKind,
    FlapTest,
    LeakKind,
    Rest,
    SampleKind,
    Sex,
    TestKind,
    VentilatorState,
    Wakefulness,
)

TODAY = date(2026, 3, 10)
NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
EVERYTHING = Pack("all", RULES)
DAYS = st.dates(date(2023, 1, 1), date(2026, 4, 1))
MAYBE = st.none()


def decimals(low: str, high: str, places: int):
    return st.decimals(low, high, places=places)


PRESSURES = st.one_of(
    st.tuples(decimals("0.9", "49", 1).map(str), st.just("kPa")),
    st.tuples(decimals("7", "370", 0).map(str), st.just("mmHg")),
)
TC = st.one_of(
    st.tuples(decimals("1.0", "29", 1).map(str), st.just("kPa")),
    st.tuples(decimals("8", "220", 0).map(str), st.just("mmHg")),
)
TIMES = (
    "tcco2_valid_s",
    "tcco2_above_49_mmhg_s",
    "tcco2_above_50_mmhg_s",
    "tcco2_above_55_mmhg_s",
    "tcco2_longest_above_55_mmhg_s",
    "tcco2_longest_risen_10_above_50_mmhg_s",
)
SECONDS = st.none() | st.integers(0, 28800)


@st.composite
def gases(draw, make):
    value, unit = draw(PRESSURES)
    return make.gas(
        value,
        unit,
        draw(DAYS),
        kind=draw(st.sampled_from(SampleKind)),
        ph=str(draw(decimals("6.50", "8.00", 2))),
        ventilator=draw(st.sampled_from(VentilatorState)),
        wakefulness=draw(st.sampled_from(Wakefulness)),
        rest=draw(st.sampled_from(Rest)),
        minutes_in_state=draw(st.just(NOT_RECORDED) | st.integers(0, 2000)),
        oxygen_l_min=draw(st.just(NOT_RECORDED) | decimals("0", "15", 1)),
        minutes_since_oxygen_change=draw(st.just(NOT_RECORDED) | st.integers(0, 2000)),
        hco3_mmol_l=draw(MAYBE | decimals("2", "70", 1)),
        hco3_kind=draw(st.sampled_from(BicarbonateKind)),
        be_mmol_l=draw(MAYBE | decimals("-40", "50", 1)),
        be_kind=draw(st.sampled_from(BaseExcessKind)),
        hb_g_dl=draw(MAYBE | decimals("2", "26", 1)),
        spo2_pct=draw(MAYBE | decimals("20", "100", 0)),
        so2_pct=draw(MAYBE | decimals("20", "100", 1)),
        po2=make.pressure(*draw(st.tuples(decimals("1.5", "90", 1).map(str), st.just("kPa")))),
    )


@st.composite
def nights(draw, make):
    pressures = {
        name: make.pressure(*draw(TC)) if draw(st.booleans()) else None
        for name in ("tcco2_awake_supine", "tcco2_mean", "tcco2_peak")
    }
    times = {name: draw(SECONDS) for name in TIMES}
    valid = draw(st.just(NOT_RECORDED) | st.integers(0, 28800))
    most = 28800 if valid == NOT_RECORDED else valid
    parts = {name: draw(st.none() | st.integers(0, most))
             for name in ("below_90_s", "at_or_below_88_s", "longest_at_or_below_88_s")}  # fmt: skip
    return make.night(
        draw(DAYS),
        **pressures,
        **times,
        **parts,
        valid_s=valid,
        ventilator=draw(st.sampled_from(VentilatorState)),
        oxygen_l_min=draw(st.just(NOT_RECORDED) | decimals("0", "15", 1)),
        drift_correction=draw(st.sampled_from(DriftCorrection)),
        dips_per_h=draw(MAYBE | decimals("0", "120", 1)),
        dip_size_pct=draw(st.sampled_from([3, 4])),
        dip_convention="own",
    )


@st.composite
def reports(draw, make):
    rated = st.just(NOT_RECORDED) | st.integers(0, 10)
    return make.report(
        draw(DAYS),
        morning_headache=draw(rated),
        breathlessness=draw(rated),
        sleep_quality=draw(rated),
        flap=draw(st.sampled_from(FlapTest)),
        new_drowsiness_or_confusion=draw(st.just(NOT_RECORDED) | st.booleans()),
    )


@st.composite
def others(draw, make):
    match draw(st.integers(0, 5)):
        case 0:
            end = draw(st.none() | st.integers(0, 30))
            day = draw(DAYS)
            kind = draw(st.sampled_from([k for k in EventKind if "medicine" not in k]))
            until = None if end is None else day + timedelta(days=end)
            return make.event(kind, day, until=until, oxygen_l_min=draw(MAYBE | decimals("0", "15", 1)))
        case 1:
            return make.change(
                draw(DAYS), draw(st.sampled_from(TestKind)), urgency=draw(st.sampled_from(ChangeUrgency))
            )
        case 2:
            return make.spot(
                *draw(TC), draw(DAYS), minutes_since_applied=draw(st.just(NOT_RECORDED) | st.integers(0, 90))
            )
        case 3:
            return make.lung(draw(DAYS), fvc_pct=str(draw(decimals("1", "200", 0))))
        case 4:
            return make.visit(draw(DAYS), spo2_pct=draw(MAYBE | decimals("20", "100", 0)))
        case _:
            kind = draw(st.sampled_from(LeakKind))
            return make.use(str(draw(decimals("0", "24", 1))), draw(st.integers(1, 40)), leak_l_min="20",
                            tidal_volume_ml="500", leak_kind=kind)  # fmt: skip


@st.composite
def dossiers(draw, make):
    kinds = st.one_of(gases(make), nights(make), reports(make), others(make))
    return make.dossier(
        *draw(st.lists(kinds, max_size=8)),
        born=draw(st.none() | st.dates(date(1930, 1, 1), date(2020, 1, 1))),
        group=draw(st.sampled_from(DiagnosisGroup)),
        dependence=draw(st.sampled_from(Dependence)),
        sex=draw(st.sampled_from(Sex)),
        ventilation_started=draw(st.just(NOT_RECORDED) | DAYS),
        home_oxygen=draw(st.just(NOT_RECORDED) | st.booleans()),
        has_lung_disease=draw(st.just(NOT_RECORDED) | st.booleans()),
        height_cm=draw(st.just(NOT_RECORDED) | decimals("40", "230", 0)),
        tracheostomy=draw(st.booleans()),
    )


@settings(max_examples=80, deadline=None)
@given(data=st.data())
def test_every_rule_answers_for_any_valid_record(make, data) -> None:
    dossier = data.draw(dossiers(make))
    found = findings(dossier, today=TODAY, pack=EVERYTHING)
    assert len(found) == len(RULES)
    assert all(each.sentence and each.answer in Answer for each in found)
    assert len(goals(found)) >= 6
    assert need(found, owed(dossier, today=TODAY)).words


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_what_is_owed_holds_together_for_any_valid_record(make, data) -> None:
    dossier = data.draw(dossiers(make))
    items = owed(dossier, today=TODAY, pack=pack_for(dossier, TODAY), with_done=True)
    assert len({each.owed_id for each in items}) == len(items)
    for each in items:
        assert each.overdue_days == 0 or each.due < TODAY
        assert each.overdue_days == 0 or each.state not in {ActionState.DONE, ActionState.WITHDRAWN}
        assert each.words


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_every_question_names_field_value_and_accepted_range(make, data) -> None:
    dossier = data.draw(dossiers(make))
    for record in (data.draw(gases(make)), data.draw(nights(make)), data.draw(reports(make))):
        for question in questions(record, dossier, now=NOW):
            assert question.field
            assert question.given
            assert question.accepted
            assert question.accepted in question.words


def test_a_decimal_of_many_digits_is_no_trouble(make) -> None:
    dossier = make.dossier(make.gas("6.123456", "kPa"), make.gas("45.654321", "mmHg", date(2026, 3, 2)))
    assert len(findings(dossier, today=TODAY, pack=EVERYTHING)) == len(RULES)
    assert Decimal("6.123456") == dossier.blood_gas[0].record.pco2.value
