"""What is owed as lines to read: the same test by the same day is one line, whatever number of rules ask."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from hvmon.rules.finding import Owed


@dataclass(frozen=True, slots=True)
class OwedLine:
    """One test owed by one day."""

    test: str
    due: date
    state: str
    overdue_days: int
    rule_ids: tuple[str, ...]
    words: str
    closes_with: str
    last_done: date | None

    @property
    def rules(self) -> str:
        """The rules that ask for it."""
        return ", ".join(self.rule_ids)

    @property
    def short(self) -> str:
        """The line in a few words: test, day, days overdue."""
        late = f", {self.overdue_days} d overdue" if self.overdue_days > 0 else ""
        return f"{self.test} by {self.due:%d %b %Y}{late}"


def owed_lines(owed: Iterable[Owed]) -> tuple[OwedLine, ...]:
    """Give what is owed, the longest overdue first; one line a test, day and state."""
    together: dict[tuple[str, date, str], list[Owed]] = {}
    for one in owed:
        together.setdefault((one.test.value, one.due, one.state.value), []).append(one)
    lines = [_line(*key, same) for key, same in together.items()]
    return tuple(sorted(lines, key=lambda line: (line.due, line.test)))


def _line(test: str, due: date, state: str, same: list[Owed]) -> OwedLine:
    return OwedLine(
        test=test,
        due=due,
        state=state,
        overdue_days=max(one.overdue_days for one in same),
        rule_ids=tuple(dict.fromkeys(one.rule_id for one in same)),
        words="; ".join(dict.fromkeys(one.words for one in same)),
        closes_with="; ".join(dict.fromkeys(one.closes_with for one in same)),
        last_done=max((one.last_done for one in same if one.last_done), default=None),
    )
