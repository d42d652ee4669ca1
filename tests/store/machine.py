"""A state machine that drives a store beside a plain dictionary and compares the two after each step."""

import shutil
import tempfile
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from hvmon.records.course import Weight
from hvmon.records.dossier import Dossier
from hvmon.store.errors import (
    AlreadyDifferent,
    Refused,
    StaleVersion,
    StoreError,
    UnknownPerson,
    UnknownRecord,
)
from hvmon.store.store import Store
from hvmon.vocabulary import RecordStatus
from tests.store import samples
from tests.store.samples import ANNA, BERT, NOW

IN_MEMORY = next((str(path) for path in (Path("/dev/shm"),) if path.is_dir()), None)  # noqa: S108
"""Where the stores are made: the machine tests what is kept, not the disk."""

DAYS = [date(2026, 2, 1) + timedelta(days=count) for count in range(3)]
weights = st.builds(
    samples.weight,
    st.sampled_from(["70", "70.0", "71.5"]),
    st.sampled_from(DAYS),
    st.sampled_from([ANNA, BERT]),
)
clocks = st.timedeltas(timedelta(days=-4000), timedelta(days=4000)).map(lambda shift: NOW + shift)
rarely = st.sampled_from([0, 0, 0, 1])
actors = st.sampled_from(["Nurse N", "Doctor D"])


@dataclass(frozen=True)
class Version:
    """What the model knows of one version."""

    status: RecordStatus
    weight: Weight
    reason: str
    actor: str
    at: datetime


@dataclass
class Model:
    """The store as a plain dictionary: record id to versions, oldest first."""

    records: dict[str, list[Version]] = field(default_factory=dict)
    released: set[str] = field(default_factory=set)

    def release(self, weight, record_id):
        """Let a withdrawn record give its day to the correction of another one."""
        other = self.at(weight)
        if other not in {None, record_id}:
            self.released.add(other)

    def at(self, weight):
        """Give the record of a person and day whose latest version holds them; withdrawn ones count."""
        for record_id, versions in self.records.items():
            latest = versions[-1].weight
            if record_id not in self.released and (latest.person_key, latest.weighed_on) == (
                weight.person_key,
                weight.weighed_on,
            ):
                return record_id
        return None

    def in_force(self, record_id):
        """Whether the latest version is not entered in error."""
        return self.records[record_id][-1].status != RecordStatus.ENTERED_IN_ERROR

    def current(self, person_key):
        """Give the weights in force of a person by day."""
        return sorted(
            (
                versions[-1].weight
                for record_id, versions in self.records.items()
                if self.in_force(record_id) and versions[-1].weight.person_key == person_key
            ),
            key=lambda weight: weight.weighed_on,
        )


def digits(weights_):
    """Give the weights with the digits as typed."""
    return [weight.model_dump(mode="json") for weight in weights_]


def attempt(act):
    """Give the result and the refusal of an act; one of them is None."""
    try:
        return act(), None
    except StoreError as refusal:
        return None, refusal


class StoreMachine(RuleBasedStateMachine):
    """Create, correct, withdraw, retry, refuse, reopen."""

    empty_file = None

    def __init__(self):
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="hvmon-machine-", dir=IN_MEMORY))
        self.path = shutil.copy(self.empty_file, self.folder / "store.sqlite")
        self.store = Store.open(self.path)
        self.model = Model()
        self.requests = []
        self.count = 0

    @initialize()
    def two_people(self):
        people = [samples.person(ANNA), samples.person(BERT)]
        self.store.save_all(people, actor="Nurse N", request_id="people", now=NOW)

    def teardown(self):
        try:
            assert self.store.verify() == ()
        finally:
            self.store.close()
            shutil.rmtree(self.folder)

    def _stamp(self, actor, now):
        self.count += 1
        return {"actor": actor, "now": now, "request_id": f"request {self.count}"}

    def _note(self, record_id, weight, status, reason, stamp):
        version = Version(status, weight, reason, stamp["actor"], stamp["now"])
        self.model.records.setdefault(record_id, []).append(version)

    def _expect_create(self, weight):
        """Give what a save should do: added, same, different or again."""
        record_id = self.model.at(weight)
        if record_id is None:
            return "added", None
        if not self.model.in_force(record_id):
            return "again", record_id
        same = self.model.records[record_id][-1].weight.weight_kg == weight.weight_kg
        return ("same" if same else "different"), record_id

    @rule(weight=weights, actor=actors, now=clocks)
    def create(self, weight, actor, now):
        stamp = self._stamp(actor, now)
        expected, record_id = self._expect_create(weight)

        def act():
            return self.store.save(weight, **stamp)

        saved, refusal = attempt(act)
        assert (expected == "different") is (refusal is not None)
        if refusal is not None:
            assert isinstance(refusal, AlreadyDifferent)
            assert (refusal.held.record_id, refusal.fields) == (record_id, ("weight_kg",))
            return
        assert saved.added == (expected != "same")
        assert record_id in {None, saved.held.record_id}
        if saved.added:
            reason = "" if expected == "added" else saved.held.reason
            self._note(saved.held.record_id, weight, RecordStatus.FINAL, reason, stamp)
        self.requests.append((act, saved))

    @precondition(lambda self: self.model.records)
    @rule(data=st.data(), weight=weights, moved=rarely, actor=actors, now=clocks, late=rarely)
    def correct(self, data, weight, moved, actor, now, late):
        record_id = data.draw(st.sampled_from(sorted(self.model.records)))
        versions, stamp = self.model.records[record_id], self._stamp(actor, now)
        seen = max(1, len(versions) - late)
        if not moved:
            weight = weight.model_copy(update={"person_key": versions[-1].weight.person_key})

        def act():
            return self.store.correct(record_id, weight, expect_version=seen, reason="slip", **stamp)

        expected = self._expect_correction(record_id, weight, seen)
        held, refusal = attempt(act)
        assert (None if refusal is None else type(refusal)) is expected
        if isinstance(refusal, StaleVersion):
            assert refusal.current.version == len(versions)
        if refusal is None:
            self.model.release(weight, record_id)
            self._note(record_id, weight, RecordStatus.CORRECTED, "slip", stamp)
            self.requests.append((act, held))

    def _expect_correction(self, record_id, weight, seen):
        versions = self.model.records[record_id]
        latest, other = versions[-1].weight, self.model.at(weight)
        if seen != len(versions):
            return StaleVersion
        if not self.model.in_force(record_id) or latest.person_key != weight.person_key:
            return Refused
        if digits([latest]) == digits([weight]):
            return Refused
        taken = other not in {None, record_id} and self.model.in_force(other)
        return AlreadyDifferent if taken else None

    @precondition(lambda self: self.model.records)
    @rule(data=st.data(), actor=actors, now=clocks, late=rarely)
    def withdraw(self, data, actor, now, late):
        record_id = data.draw(st.sampled_from(sorted(self.model.records)))
        versions, stamp = self.model.records[record_id], self._stamp(actor, now)
        seen = max(1, len(versions) - late)

        def act():
            return self.store.withdraw(record_id, expect_version=seen, reason="error", **stamp)

        expected = None if self.model.in_force(record_id) else Refused
        expected = expected if seen == len(versions) else StaleVersion
        held, refusal = attempt(act)
        assert (None if refusal is None else type(refusal)) is expected
        if refusal is None:
            self._note(record_id, versions[-1].weight, RecordStatus.ENTERED_IN_ERROR, "error", stamp)
            self.requests.append((act, held))

    @precondition(lambda self: self.requests)
    @rule(data=st.data())
    def retry(self, data):
        number = data.draw(st.integers(0, len(self.requests) - 1))
        act, answer = self.requests[number]
        revision = self.store.revision()
        assert attempt(act) == (answer, None)
        assert self.store.revision() == revision

    @rule(
        wrong=st.sampled_from(
            ["contradiction", "stranger", "actor", "request", "clock", "unknown", "dossier"]
        ),
        weight=weights,
    )
    def refused(self, wrong, weight):
        stamp = self._stamp("Nurse N", NOW)
        revision = self.store.revision()
        _, refusal = attempt(lambda: self._wrong(wrong, weight, stamp))
        assert isinstance(refusal, Refused | UnknownRecord | UnknownPerson | AlreadyDifferent)
        assert self.store.revision() == revision

    def _wrong(self, wrong, weight, stamp):
        if wrong == "contradiction":
            other = weight.model_copy(update={"weight_kg": weight.weight_kg + 1})
            self.store.save_all([weight, other], **stamp)
        elif wrong == "stranger":
            self.store.save(samples.weight(person_key="c" * 32), **stamp)
        elif wrong == "unknown":
            self.store.correct("none", weight, expect_version=1, reason="slip", **stamp)
        elif wrong == "dossier":
            self.store.dossier("c" * 32)
        else:
            bad = {
                "actor": {"actor": " "},
                "request": {"request_id": ""},
                "clock": {"now": NOW.replace(tzinfo=None)},
            }
            self.store.save(weight, **stamp | bad[wrong])

    @rule(task=st.sampled_from(["verify", "reopen", "import"]))
    def keep_house(self, task):
        if task == "verify":
            assert self.store.verify() == ()
        elif task == "reopen":
            self.store.close()
            self.store = Store.open(self.path)
        else:
            self._import_some()

    def _import_some(self):
        stamp = self._stamp("Nurse N", NOW)
        fresh = [
            weight
            for weight in (samples.weight("70.0", day) for day in DAYS)
            if self._expect_create(weight)[0] == "added"
        ]
        counts = self.store.save_many([*fresh, *fresh], **stamp)
        assert (counts.added, counts.already) == (len(fresh), len(fresh))
        for held in self.store.dossier(ANNA).weight:
            if held.record_id not in self.model.records and held.record in fresh:
                self._note(held.record_id, held.record, RecordStatus.FINAL, "", stamp)

    @invariant()
    def the_history_is_that_of_the_model(self):
        for record_id, versions in self.model.records.items():
            history = self.store.history(record_id)
            told = [
                Version(held.status, held.record, held.reason, held.recorded_by, held.recorded_at)
                for held in history
            ]
            assert told == versions
            assert digits(held.record for held in history) == digits(version.weight for version in versions)
            assert [held.version for held in history] == list(range(1, len(history) + 1))
            assert [held.seq for held in history] == sorted({held.seq for held in history})

    @invariant()
    def what_is_in_force_is_that_of_the_model(self):
        if self.store.revision() == 0:
            return
        for person_key in (ANNA, BERT):
            dossier = self.store.dossier(person_key)
            assert isinstance(dossier, Dossier)
            wanted = digits(self.model.current(person_key))
            assert digits(held.record for held in dossier.weight) == wanted
            frame = self.store.frame("weight", person_key)
            assert frame["weight_kg"].to_list() == [float(Decimal(each["weight_kg"])) for each in wanted]

    @invariant()
    def the_revision_counts_every_version(self):
        versions = sum(len(versions) for versions in self.model.records.values())
        assert self.store.revision() == (versions + 2 if self.store.revision() else 0)
