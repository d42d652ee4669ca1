"""Settings change: what is in force, what replaces it, who and why, and the test owed after it."""

import streamlit as st

from hvmon.app import cache, form, parts, resume
from hvmon.records.dossier import Dossier, local
from hvmon.services import settings
from hvmon.services.asked import Answers, Section
from hvmon.services.form_read import FormRead
from hvmon.services.one_record import save_one
from hvmon.services.outcome import Outcome
from hvmon.services.visit_records import Context


def _context(dossier: Dossier, token: str) -> Context:
    return Context(dossier, cache.actor(), cache.role(), token, cache.now())


def _form(dossier: Dossier) -> form.Form:
    def sections(answers: Answers) -> tuple[Section, ...]:
        return settings.sections(answers, dossier, today=_context(dossier, "").today)

    def understand(answers: Answers, token: str) -> FormRead:
        return settings.understand(answers, _context(dossier, token))

    def save(read: FormRead, token: str) -> Outcome:
        return save_one(cache.store(), read, _context(dossier, token))

    return form.Form(settings.FORM, dossier.person_key, sections, understand, save, "Save the change", "time")


def _in_force(dossier: Dossier) -> None:
    now = settings.in_force(dossier, now=cache.now())
    if now is None:
        st.text("No settings are recorded for this person yet.")
        return
    st.text(f"In force since {local(now.since, dossier.person.zone):%d %b %Y %H:%M}, by {now.by}: {now.why}")
    for number, program in enumerate(now.programs, start=1):
        st.text(f"Program {number}: {program}")


st.title("Settings change", anchor=False)
if cache.person_key() is None:
    resume.offer_all(settings.FORM)
person = parts.open_person()
_in_force(person)
page_form = _form(person)
if not (resume.offered(page_form) or resume.stored_panel(page_form)):
    form.draw(page_form)
parts.caution()
