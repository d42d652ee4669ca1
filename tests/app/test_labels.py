"""One name for one thing: the columns of the record as they are called on the screen."""

import pytest

from hvmon.app import labels
from hvmon.records.flat import columns
from hvmon.records.study import NightSummary
from hvmon.services.corrections import NOT_EDITED


@pytest.mark.parametrize(
    ("column", "told"),
    [
        ("program_1_ipap_cmh2o", "IPAP [cmH2O]"),
        ("program_2_ipap_cmh2o", "IPAP 2 [cmH2O]"),
        ("program_2_mode", "Mode 2"),
        ("spo2_mean_pct", "SpO2, mean [%]"),
    ],
)
def test_a_column_is_called_as_the_trade_calls_it_and_the_second_program_by_its_number(
    column: str, told: str
):
    assert labels.label(column) == told


def test_every_question_about_a_night_has_a_label_of_its_own():
    asked = {column.name for column in columns(NightSummary)} - NOT_EDITED - {"sensor_site"}
    spelt = {name for name in asked if name not in labels.LABELS}
    assert spelt <= {"ventilator"}


def test_a_message_names_columns_by_their_labels_and_leaves_other_words_alone():
    told = labels.in_words("fvc_l 12 is more than snip_cmh2o; see my_own_word, note 3.5_x")
    assert told == "FVC [L] 12 is more than SNIP [cmH2O]; see my_own_word, note 3.5_x"
