"""The rule page of the documentation, written from the catalogue so that the two cannot differ."""

from collections.abc import Iterator

from hvmon.rules.catalogue import RULES, rule
from hvmon.rules.packs import ACUTE, BEFORE_START, BY_GROUP, EVERYBODY
from hvmon.rules.rule import Rule, Sense

TOPICS: tuple[tuple[str, str], ...] = (
    ("GAS", "Daytime blood gas"),
    ("NGT", "Night CO2"),
    ("OXI", "Night oximetry"),
    ("USE", "Use of the ventilator"),
    ("TGT", "Goals on treatment"),
    ("SYM", "Symptoms"),
    ("STA", "Criteria for starting (context)"),
    ("MEA", "The measurement itself"),
    ("FUP", "Follow-up"),
    ("RED", "Same-day contact"),
    ("TRD", "Trend"),
    ("REC", "The record itself"),
)

OPENING = """# Rules

Written by `hvmon.rules.page.rules_page()` from `hvmon/rules/catalogue.py`; a test keeps the two in step.

Every rule answers **met**, **not met** or **not assessable, and why**. Nothing here orders treatment, and a
missing flag is not reassurance: local protocol, licensed judgement and goals of care come first.

- A limit stands in the unit and with the comparator of its source. A reading is compared as typed. Where the
  reading is in the other pressure unit, the limit is converted once, rounded to the precision of the reading,
  and equality is marked "at threshold". No stored value is ever converted for a comparison.
- A goal rule is met (raised) when the goal is *not* reached.
- Venous samples never rule in. Capillary PO2 is not used. On oxygen, oximetry does not count as evidence of
  ventilation. Without an awake supine baseline a rise is not assessable. Adult or child rule goes by the age
  on the study date. An unknown diagnosis group gives no verdict beyond the same-day flags.
- "Low" CO2 is a finding too.
- The mark says how far a figure was verified: seen in the source, seen in a restatement, from memory,
  project judgement. `docs/sources.md` has the works.

A service edits rules in a TOML file, one table a rule, with a reason:

```toml
[rules.GAS-3]
limit = 6.5          # in the rule's own unit
reason = "agreed in the service meeting"
groups = ["COPD"]    # optional; default all

[rules.USE-3]
in_use = false
reason = "our devices report total leak only"
```

A person's own edit goes before the service's. An edited limit is shown as edited, with its reason.
A pressure limit over four times or under a quarter of the published one is refused as a slip of unit.
"""


def rules_page() -> str:
    """Give the text of `docs/rules.md`."""
    return "\n".join([OPENING, *_topics(), *_packs()]) + "\n"


def _topics() -> Iterator[str]:
    for prefix, title in TOPICS:
        yield f"## {title}\n"
        yield "| Id | Rule | Limit | Condition | For | Grade | Source, place | Mark |"
        yield "|---|---|---|---|---|---|---|---|"
        yield from (_row(each) for each in RULES if each.id.split("-")[0] == prefix)
        yield ""


def rule_line(rule_id: str) -> str:
    """Give a rule in one line: title, limit, population, grade, source and how far it was verified.

    Raises
    ------
    KeyError
        No such rule.
    """
    named = rule(rule_id)
    limit = _limit(named) or named.condition or "no limit of its own"
    source = f"{named.source}: {named.place} ({named.mark.value})"
    return f"{named.id} {named.title}: {limit}; for {named.population}; {named.grade.value}; {source}"


def _limit(each: Rule) -> str:
    words = "; ".join(limit.words for limit in each.limits)
    return f"goal {words}" if each.sense == Sense.GOAL and words else words


def _row(each: Rule) -> str:
    limit = _limit(each)
    ages = "" if each.ages.name == "ANY" else f" ({each.ages.value})"
    cells = (
        each.id,
        each.title,
        limit or "-",
        each.condition or "-",
        f"{each.population}{ages}",
        each.grade.value,
        f"{each.source}: {each.place}",
        each.mark.value,
    )
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _packs() -> Iterator[str]:
    yield "## Default packs\n"
    yield "A project proposal built from the sources above; editable for a service and for a person.\n"
    yield "| Group | Rules |"
    yield "|---|---|"
    yield f"| everybody | {', '.join(EVERYBODY)} |"
    yield f"| everybody, and all there is for an unknown group | {', '.join(ACUTE)} |"
    for group, ids in BY_GROUP.items():
        yield f"| {group} | {', '.join(ids)} |"
    for group, ids in BEFORE_START.items():
        yield f"| {group}, not yet ventilated | {', '.join(ids)} |"
