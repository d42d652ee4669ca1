"""What is owed and agreed about the open person; forms for what became of it and for the end of an action."""

import streamlit as st

from hvmon.app import cache, form, parts, resume, reviews, words
from hvmon.app.fields import widget_key
from hvmon.records.dossier import Dossier
from hvmon.services import owed_notes
from hvmon.services.asked import Answers, Section
from hvmon.services.form_read import FormRead
from hvmon.services.outcome import Outcome
from hvmon.services.visit_records import Context


def _context(dossier: Dossier, token: str) -> Context:
    return Context(dossier, cache.actor(), cache.role(), token, cache.now())


def _note(dossier: Dossier, lines: tuple[owed_notes.Waiting, ...]) -> form.Form:
    def sections(_answers: Answers) -> tuple[Section, ...]:
        return owed_notes.note_sections(lines)

    def understand(answers: Answers, token: str) -> FormRead:
        return owed_notes.understand_note(answers, lines, _context(dossier, token))

    def save(read: FormRead, token: str) -> Outcome:
        return owed_notes.save_note(cache.store(), read, _context(dossier, token))

    return form.Form(
        owed_notes.NOTE_OWED, dossier.person_key, sections, understand, save, "Save the note", "owed_line",
        drafted=False,
    )  # fmt: skip


def _close(dossier: Dossier) -> form.Form:
    def sections(_answers: Answers) -> tuple[Section, ...]:
        return owed_notes.close_sections(dossier)

    def understand(answers: Answers, token: str) -> FormRead:
        return owed_notes.understand_close(answers, dossier, _context(dossier, token))

    def save(read: FormRead, token: str) -> Outcome:
        why = str(st.session_state.get(widget_key(token, "why_closed")) or "")
        return owed_notes.close_action(cache.store(), read, why, _context(dossier, token))

    return form.Form(
        owed_notes.CLOSE_ACTION, dossier.person_key, sections, understand, save, "Save the end of the action",
        "", drafted=False,
    )  # fmt: skip


def _run(page_form: form.Form) -> None:
    if not resume.stored_panel(page_form):
        form.draw(page_form)


def draw(dossier: Dossier) -> None:
    """Show what is owed, and the forms for what can still be said of it."""
    lines = owed_notes.waiting(dossier, today=cache.today(), edits=reviews.edits())
    for line in lines:
        late = f"{line.overdue_days} d OVERDUE" if line.overdue_days > 0 else "not yet overdue"
        st.markdown(
            f"{parts.plain(line.words)} · **{parts.plain(late)}**  \n:small[:gray[{parts.plain(line.why)}]]"
        )
    note, close = _note(dossier, lines), _close(dossier)
    if lines or note.done in st.session_state:
        _run(note)
    else:
        st.info(words.NOTHING_OWED)
    if owed_notes.open_actions(dossier) or close.done in st.session_state:
        _run(close)
