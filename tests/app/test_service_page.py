"""The page on the whole cohort: worked out only when asked for, nobody named, what it cannot say."""

import pytest

from hvmon.app import service_parts, words
from hvmon.services import cohort as cohort_service
from hvmon.services.cohort_tables import CANNOT_SAY
from tests.app import invented
from tests.app.sight import press, seen
from tests.services import cohorts


def text(session) -> str:
    """Everything on the page, tables included, without the marks of escaping."""
    cells = "\n".join(
        element.value.to_csv() for kind in ("table", "dataframe") for element in getattr(session, kind)
    )
    headers = "\n".join(
        str(element.value) for kind in ("header", "subheader") for element in getattr(session, kind)
    )
    return f"{seen(session)}\n{headers}\n{cells}".replace("\\", "")


@pytest.fixture(name="of_many")
def _of_many(store):
    store.save_many(cohorts.records(), actor="N. Invented", request_id="cohort", now=cohorts.NOW)


def charts(session) -> list[str]:
    found = session.get("vega_lite_chart") or session.get("arrow_vega_lite_chart")
    return [str(node.proto) for node in found]


def test_nothing_is_worked_out_before_it_is_asked_for(open_page, monkeypatch):
    def never(*_args: object, **_more: object) -> None:
        raise AssertionError("worked out without being asked for")

    monkeypatch.setattr(cohort_service, "cohort", never)
    session = open_page("service")
    assert not session.exception
    assert service_parts.START in [button.label for button in session.button]


def test_it_says_what_it_cannot_say_and_shows_the_priors_before_anything_is_worked_out(open_page):
    shown = text(open_page("service"))
    assert all(line in shown for line in CANNOT_SAY)
    for wanted in ("regression to the mean", "confounding by indication", "informative sampling"):
        assert wanted in shown
    for wanted in ("noise.arterial", "RepeatGas2015", "derived from seen figures", words.CAUTION):
        assert wanted in shown


def test_few_people_give_not_enough_and_no_number_of_people(open_page):
    shown = text(press(open_page("service"), service_parts.START))
    assert "not enough to tell" in shown
    assert "Of fewer than 5 people" in shown
    assert "not enough data" in shown


@pytest.mark.usefixtures("of_many")
def test_a_cohort_gives_two_forest_plots_with_n_and_symptoms_in_words(open_page):
    session = press(open_page("service"), service_parts.START)
    assert not session.exception
    drawn = charts(session)
    assert len(drawn) == 2
    assert "kPa per cmH2O of pressure support, 95 % interval. all: -0." in drawn[0]
    assert "people, " in drawn[0]
    shown = text(session)
    assert "morning headache: consistent, more of it with higher CO2" in shown
    assert "pairs of 48 people" in shown
    assert "Model trend-1, priors" in shown


@pytest.mark.usefixtures("of_many")
def test_nobody_is_named_and_nothing_is_ordered(open_page):
    shown = text(press(open_page("service", person=invented.ANNA), service_parts.START))
    for private in ("Anna", "H1001", "1952", invented.ANNA, "cohort0"):
        assert private not in shown
    for order in (" safe", "increase the", "decrease the", "should be"):
        assert order not in shown.lower()


@pytest.mark.usefixtures("of_many")
def test_what_was_worked_out_stays_and_is_told_to_be_behind_once_the_record_changed(
    open_page, monkeypatch, store
):
    calls: list[int] = []
    real = cohort_service.cohort

    def counted(*args, **more):
        calls.append(1)
        return real(*args, **more)

    monkeypatch.setattr(cohort_service, "cohort", counted)
    session = press(open_page("service"), service_parts.START)
    session.run()
    assert "Model trend-1" in text(open_page("service"))
    assert len(calls) == 1
    record = invented.gas(invented.ANNA, 20, "6.6")
    store.save(record, actor="N. Invented", request_id="one more", now=cohorts.NOW)
    behind = open_page("service")
    assert "changes of the record since they were worked out: 1." in text(behind)
    assert "Model trend-1" in text(behind)
    anew = press(behind, service_parts.START)
    assert "are behind" not in text(anew)
    assert len(calls) == 2


def test_edits_of_the_priors_are_marked_on_the_page(open_page, monkeypatch, tmp_path):
    path = tmp_path / "service.toml"
    path.write_text('[priors]\n"noise.arterial" = 0.04\n', encoding="utf-8")
    monkeypatch.setenv("HVMON_SERVICE", str(path))
    shown = text(open_page("service"))
    assert "1 edited by this service" in shown
    assert "yes; shipped 0.03" in shown
