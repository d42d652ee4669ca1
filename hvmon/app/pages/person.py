"""Person: who it is and what is known, a new person, and the small records around the readings."""

import streamlit as st

from hvmon.app import cache, form, owed_forms, parts, resume, words
from hvmon.records.dossier import Dossier
from hvmon.services import people, person_forms
from hvmon.services.asked import Answers, Section
from hvmon.services.form_read import FormRead
from hvmon.services.one_record import save_one
from hvmon.services.outcome import Outcome
from hvmon.services.visit_records import Context

WHO, OWED, NEW = words.WHO_PART, words.OWED_PART, words.NEW_PART


def _new_person() -> form.Form:
    zone = st.context.timezone or "UTC"
    person_key = st.session_state.setdefault("new_person_key", people.new_person_key())

    def sections(_answers: Answers) -> tuple[Section, ...]:
        return person_forms.new_person_sections(zone=zone)

    def understand(answers: Answers, _token: str) -> FormRead:
        return person_forms.understand_new_person(answers, person_key, zone=zone, now=cache.now())

    def save(read: FormRead, token: str) -> Outcome:
        outcome = person_forms.save_new_person(
            cache.store(), read, actor=cache.actor(), request_id=token, now=cache.now()
        )
        if outcome.stored:
            cache.choose(person_key)
            st.session_state.pop("new_person_key", None)
        return outcome

    return form.Form(
        person_forms.NEW_PERSON,
        person_key,
        sections,
        understand,
        save,
        "Save the person",
        "local_id",
        drafted=False,
    )


def _addable(addable: person_forms.Addable, dossier: Dossier) -> form.Form:
    def context(token: str) -> Context:
        return Context(dossier, cache.actor(), cache.role(), token, cache.now())

    def sections(_answers: Answers) -> tuple[Section, ...]:
        return (Section(addable.title, addable.asks(context("").today)),)

    def understand(answers: Answers, token: str) -> FormRead:
        return person_forms.understand_addable(addable, answers, context(token))

    def save(read: FormRead, token: str) -> Outcome:
        return save_one(cache.store(), read, context(token))

    return form.Form(
        addable.name, dossier.person_key, sections, understand, save, f"Save: {addable.title.lower()}",
        addable.first_field, drafted=False,
    )  # fmt: skip


def _who(dossier: Dossier) -> None:
    for record_id in people.own_records(cache.store(), dossier.person_key):
        resume.stored(record_id)


def _run(page_form: form.Form) -> None:
    if not resume.stored_panel(page_form):
        form.draw(page_form)


st.title("Person", anchor=False)
titles = {addable.title: addable for addable in person_forms.ADDABLES}
chosen = st.segmented_control(
    "What to do",
    [WHO, OWED, *titles, NEW],
    default=WHO if cache.person_key() else NEW,
    required=True,
    key="person_part",
)
if chosen == NEW:
    _run(_new_person())
else:
    person = parts.open_person()
    if chosen in titles:
        _run(_addable(titles[chosen], person))
    elif chosen == OWED:
        owed_forms.draw(person)
    else:
        _who(person)
parts.caution()
