"""One settings change: before and after, what else moved, and the usual honest answer."""

from decimal import Decimal

import pytest
from trend_people import after
from trend_records import change, dossier, event, gas, spot, use, weight

from hvmon.stats.priors import default_priors
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.settings_changes import before_after, change_reports, regression_note
from hvmon.stats.trend import fit
from hvmon.vocabulary import ChangeKind, EventKind, SampleKind, SampleReason, VentilatorState


def reports(*records, today=700):
    whole = dossier(*records)
    result = fit(readings_frame(whole), changes_frame(whole), today=after(today))
    return change_reports(whole, result, priors=default_priors())


def test_a_same_day_reading_is_never_after():
    frame = readings_frame(dossier(gas(80, 7.0), gas(100.5, 5.0), gas(140, 6.4)))
    compared = before_after(frame, after(100))
    assert (compared.n_before, compared.n_after) == (1, 1)
    assert compared.difference_kpa == pytest.approx(-0.6)
    assert not compared.enough


def test_before_and_after_use_one_condition_only():
    records = [gas(day, 7.5) for day in (30, 50, 70)]
    records += [gas(day, 5.5, ventilator=VentilatorState.ON) for day in (140, 150, 160)]
    assert before_after(readings_frame(dossier(*records)), after(100)).startswith("no condition was measured")


def test_the_condition_with_most_readings_on_its_thinner_side_is_taken():
    records = [gas(day, 7.0) for day in (30, 60, 90)] + [gas(day, 6.0) for day in (135, 150, 180)]
    records += [gas(day, 7.4, kind=SampleKind.VENOUS) for day in (20, 40, 50, 60, 80, 140)]
    compared = before_after(readings_frame(dossier(*records)), after(100))
    assert compared.key.source == "arterial"
    assert compared.enough
    assert compared.beyond_noise


def test_a_small_effect_is_not_enough_to_tell():
    records = [gas(day, 6.8) for day in (20, 60, 90)] + [gas(day, 6.5) for day in (140, 170, 200)]
    (report,) = reports(*records, change(100), today=220)
    assert not report.told
    assert "not enough to tell" in report.in_words


def test_a_large_effect_measured_often_is_told_without_claiming_the_cause():
    records = [gas(day, 8.8) for day in range(0, 190, 25)] + [gas(day, 6.4) for day in range(240, 440, 25)]
    (report,) = reports(*records, change(190, ChangeKind.INITIATION), today=450)
    assert report.told
    assert "does not say the change did it" in report.in_words


def test_everything_else_that_moved_is_named():
    records = [gas(60, 7.0), gas(150, 6.3, kind=SampleKind.VENOUS, oxygen_l_min=Decimal(2))]
    records += [use(day, 5.0, leak=10) for day in range(40, 100, 10)]
    records += [use(day, 8.0, leak=30) for day in range(100, 160, 10)]
    records += [weight(60, 80), weight(150, 70), event(110, EventKind.INFECTION), change(100), change(130)]
    report = reports(*records)[0]
    named = {one.what for one in report.confounders}
    assert named == {
        "another settings change",
        "respiratory infection",
        "kind of sample changed at the same time",
        "oxygen flow",
        "hours of use",
        "leak (unintentional, median)",
        "weight",
    }
    assert report.not_recorded == ()


def test_what_was_not_recorded_is_listed_and_not_taken_as_unchanged():
    (report,) = reports(gas(60, 7.0), gas(150, 6.3), change(100))
    assert report.not_recorded == ("hours of use", "leak", "weight")
    assert report.confounders == ()


def test_a_pair_of_kinds_on_both_sides_is_no_confounder():
    records = [gas(60, 7.0), spot(61, 7.0), spot(150, 6.3), change(100)]
    (report,) = reports(*records)
    assert "kind of sample changed at the same time" not in {one.what for one in report.confounders}


@pytest.mark.parametrize(
    ("values", "reason", "said"),
    [
        ((6.0, 6.2, 7.4), SampleReason.ROUTINE, "was the highest of its kind so far"),
        ((6.0, 6.2, 6.1), SampleReason.SYMPTOM_LED, "was taken because of symptoms"),
    ],
)
def test_regression_to_the_mean_is_named_when_an_extreme_prompted_the_change(values, reason, said):
    days = (10, 50, 90)
    records = [gas(day, value, reason=reason) for day, value in zip(days, values, strict=True)]
    note = regression_note(readings_frame(dossier(*records)), after(100))
    assert said in note
    assert "regression to the mean" in note


def test_an_ordinary_reading_before_a_change_needs_no_note():
    records = [gas(day, value) for day, value in ((10, 6.5), (50, 6.2), (90, 6.3))]
    assert not regression_note(readings_frame(dossier(*records)), after(100))
    assert not regression_note(readings_frame(dossier()), after(100))


def test_without_any_reading_a_change_is_still_reported():
    whole = dossier(change(100))
    (report,) = change_reports(whole, None, priors=default_priors())
    assert report.before_after is None
    assert report.no_comparison
    assert not report.told
