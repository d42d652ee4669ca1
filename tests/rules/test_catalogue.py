"""The rule table is whole, and its numbers are those of the sources."""

import re
from decimal import Decimal
from pathlib import Path

import pytest

from hvmon.records.symptoms import INSTRUMENTS
from hvmon.rules.catalogue import RULES, rule, where
from hvmon.rules.packs import ACUTE, BEFORE_START, BY_GROUP, CHILD_GROUP, EVERYBODY
from hvmon.rules.page import TOPICS, rules_page
from hvmon.rules.rule import Comparator, Sense
from hvmon.sources import BY_KEY, SOURCES
from hvmon.vocabulary import DiagnosisGroup, Mark

ROOT = Path(__file__).parents[2]

PUBLISHED = {
    "GAS-1": ("> 45 mmHg",),
    "GAS-2": (">= 45 mmHg",),
    "GAS-3": ("> 6.0 kPa",),
    "GAS-4": (">= 6.5 kPa",),
    "GAS-5": ("mild >= 46 mmHg", "moderate >= 51 mmHg", "severe >= 56 mmHg"),
    "GAS-7": ("> 6.5 kPa", "pH < 7.35"),
    "GAS-8": ("> 7.0 kPa", "pH >= 7.30"),
    "GAS-9": (">= 5 mmHg",),
    "GAS-10": (">= 27 mmol/L",),
    "GAS-11": ("> 27 mmol/L",),
    "NGT-1": ("> 55 mmHg", "run >= 10 min"),
    "NGT-3": ("level > 50 mmHg", "rise >= 10 mmHg", "run >= 10 min"),
    "NGT-4": ("> 50 mmHg", "share > 25 % of recording"),
    "NGT-8": (">= 49 mmHg",),
    "NGT-9": ("> 6.5 kPa",),
    "OXI-1": (">= 5 min",),
    "OXI-3": ("> 10 % of night",),
    "TGT-1": ("<= 45 mmHg",),
    "TGT-2": ("fall >= 20 % of baseline", "or < 6.5 kPa"),
    "TGT-3": ("< 45 mmHg",),
    "STA-12": (">= 6.5 kPa", "FVC <= 80 %", "SNIP <= 40 cmH2O", "88 % >= 5 min"),
    "STA-13": ("> 6.0 kPa",),
    "USE-1": (">= 4 h per 24 h",),
    "USE-3": ("> 24 L/min",),
    "FUP-9": ("from >= 4 weeks", "by <= 6 weeks"),
    "TRD-1": (">= 0.80 probability",),
    "TRD-2": (">= 0.95 probability",),
}


@pytest.mark.parametrize("rule_id", PUBLISHED)
def test_the_limits_are_those_published_in_their_native_unit(rule_id) -> None:
    assert tuple(limit.words for limit in rule(rule_id).limits) == PUBLISHED[rule_id]


def test_ids_are_unique_and_of_a_known_topic() -> None:
    ids = [each.id for each in RULES]
    assert len(ids) == len(set(ids))
    assert {each.split("-")[0] for each in ids} == {prefix for prefix, _ in TOPICS}


@pytest.mark.parametrize("each", RULES, ids=lambda each: each.id)
def test_every_rule_has_source_place_mark_grade_and_population(each) -> None:
    assert each.title
    assert each.population
    assert each.place
    assert each.source in BY_KEY
    assert isinstance(each.mark, Mark)
    assert each.grade


@pytest.mark.parametrize("each", RULES, ids=lambda each: each.id)
def test_every_limit_is_a_decimal_with_comparator_and_source(each) -> None:
    for limit in each.limits:
        assert isinstance(limit.value, Decimal)
        assert isinstance(limit.comparator, Comparator)
        assert limit.source == each.source
        assert limit.published is None
    names = [limit.name for limit in each.limits if limit.name or len(each.limits) == 1]
    assert len(names) == len(set(names))
    assert each.sense != Sense.GOAL or each.limits


def test_a_mark_is_never_better_than_its_source() -> None:
    """A figure from memory may come with a source whose abstract was seen, never the other way round."""
    seen = {Mark.SEEN, Mark.SEEN_SECOND_HAND}
    unread = {key for key, source in BY_KEY.items() if source.seen == "nothing" and source.authors}
    assert [each.id for each in RULES if each.source in unread and each.mark in seen] == []


def test_every_rule_of_every_pack_exists() -> None:
    named = {*EVERYBODY, *ACUTE, *(i for ids in (*BY_GROUP.values(), *BEFORE_START.values()) for i in ids)}
    assert named <= {each.id for each in RULES}


def test_every_group_but_unknown_has_a_pack() -> None:
    assert set(BY_GROUP) == (set(DiagnosisGroup) - {DiagnosisGroup.UNKNOWN}) | {CHILD_GROUP}


def test_an_unknown_rule_is_named() -> None:
    with pytest.raises(KeyError, match="GAS-99"):
        rule("GAS-99")


@pytest.mark.parametrize("each", RULES, ids=lambda each: each.id)
def test_where_gives_the_line_of_the_row_and_of_the_check(each) -> None:
    row, check = where(each.id).splitlines()
    path, line = row.removesuffix(" (row)").split(":")
    assert f'"{each.id}"' in (ROOT / path).read_text(encoding="utf-8").splitlines()[int(line) - 1]
    path, rest = check.split(":")
    line, name = rest.removesuffix(")").split(" (check ")
    assert f"def {name}(" in (ROOT / path).read_text(encoding="utf-8").splitlines()[int(line) - 1]


def test_the_rule_page_is_in_step_with_the_catalogue() -> None:
    written = (ROOT / "docs" / "rules.md").read_text(encoding="utf-8")
    assert written == rules_page(), "write docs/rules.md anew from hvmon.rules.page.rules_page()"


def test_the_rule_page_names_every_rule_once_as_a_row() -> None:
    rows = [line.split(" | ")[0].removeprefix("| ") for line in rules_page().splitlines()]
    assert sorted(row for row in rows if row in {each.id for each in RULES}) == sorted(
        each.id for each in RULES
    )


def test_every_source_of_an_instrument_resolves() -> None:
    assert {facts.source for facts in INSTRUMENTS} <= set(BY_KEY)


KEY = re.compile(r"\b[A-Z][A-Za-z]+(?:19|20)[0-9]{2}[A-Za-z]*\b")
LINT_CODES = {"PLR2004"}


@pytest.mark.parametrize("room", ["records", "physiology", "nights", "stats", "rules"])
def test_every_source_key_named_in_a_pure_room_resolves(room) -> None:
    files = sorted((ROOT / "hvmon" / room).rglob("*.py"))
    named = {key for path in files for key in KEY.findall(path.read_text(encoding="utf-8"))}
    assert named - set(BY_KEY) - LINT_CODES == set()


def test_source_keys_are_unique_and_every_source_says_how_far_it_was_read() -> None:
    keys = [source.key for source in SOURCES]
    assert len(keys) == len(set(keys))
    assert all(source.seen and source.title for source in SOURCES)


def test_no_rule_orders_treatment() -> None:
    words = " ".join(f"{each.title} {each.condition} {each.place}".lower() for each in RULES)
    for order in (
        "increase the",
        "decrease the",
        "raise the pressure",
        "reduce the pressure",
        "must be treated",
    ):
        assert order not in words
