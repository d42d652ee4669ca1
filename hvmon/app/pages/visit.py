"""Home visit: everything of one visit in one form, by keyboard alone, stored together or not at all."""

import streamlit as st

from hvmon.app import cache, form, parts, resume
from hvmon.records.dossier import Dossier
from hvmon.services import visit, visit_form
from hvmon.services.asked import Answers, Section
from hvmon.services.form_read import FormRead
from hvmon.services.outcome import Outcome


def _context(dossier: Dossier, token: str) -> visit.Context:
    return visit.Context(dossier, cache.actor(), cache.role(), token, cache.now())


def _form(dossier: Dossier) -> form.Form:
    def sections(answers: Answers) -> tuple[Section, ...]:
        return visit_form.sections(answers, dossier, today=_context(dossier, "").today)

    def understand(answers: Answers, token: str) -> FormRead:
        return visit.understand(answers, _context(dossier, token))

    def save(read: FormRead, token: str) -> Outcome:
        return visit.save(cache.store(), read, _context(dossier, token))

    return form.Form(visit.FORM, dossier.person_key, sections, understand, save, "Save the visit", "time")


st.title("Home visit", anchor=False)
if cache.person_key() is None:
    resume.offer_all(visit.FORM)
page_form = _form(parts.open_person())
if not (resume.offered(page_form) or resume.stored_panel(page_form)):
    form.draw(page_form)
parts.caution()
