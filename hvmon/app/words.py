"""Fixed texts of the screens, in one place."""

TITLE = "hvmon"

CAUTION = (
    "Supports licensed judgement and local protocol, replaces neither. Figures may be stale, mistyped or "
    "from the wrong person. A missing flag is not reassurance. Not for time-critical use."
)

CAUTIONS = (
    "hvmon keeps a record, draws it and does arithmetic on it. It is no medical device and gives no orders.",
    "It supports licensed judgement and local protocol and replaces neither.",
    "Goals of care and refusals of treatment come first.",
    "A flag shows what was compared, by which published rule, and what is not known.",
    "A missing flag is not reassurance: the rule may not have been assessable.",
    "Figures may be stale, mistyped or from the wrong person. Not for time-critical use.",
)

INVENTED = "INVENTED PERSON"

NO_CHOICE = "leave blank"
"""Stands behind the choices of a question that may stay unanswered."""

NO_PERSON = "No person is open. Type a name or number under “Find a person” on the left."

HIDDEN = "Hidden while names are hidden."

NO_ACTOR = "NOT saved. Type your name under “You” on the left and choose your role, then press again."

NOT_SAVED = "NOT saved"

NAME_FIRST = "Type your name under “You” on the left and choose your role; then you can save here."

NOBODY_FOUND = "Nobody found. Search looks at name, local id and second identifier."

DRAFT_NOT_KEPT = "The half-filled form is NOT being kept for later."

ASKED = "Unlikely, please check."

REASON = "If it is right, say why it is accepted"

STILL_NEEDED = "Still needed:"

WHOLE = "Nothing is missing."

SEE_REFUSED = "what is refused above"

FORM_KEPT = "The form keeps what you typed."

DISCARD_ASK = "Discard"

DISCARD_SURE = "What was typed here and not saved will be lost."

DISCARD = "Yes, discard it"

GO_ON = "Go on with it"

NEW = "Start a new one"

ELSEWHERE = "Unfinished forms on this machine"

KEPT = "A form of this person was begun and not saved. What was typed is kept."

STORED = "Stored"

STORED_NOW = "Stored now:"

CORRECTED = "Stored as a new version. The one before is kept below."

NOTHING_OWED = "Nothing is owed by the rules in force."

WHICH_RECORD = "Which record"

IN_ERROR = "This record is entered in error. It stands in no series and stays in the history."

WITHDRAW = "Withdraw as entered in error"

WHY_WITHDRAWN = "Why is it withdrawn"

WHO_PART = "Who the person is"

NEW_PART = "New person"

OWED_PART = "Owed and agreed"

PAGE_TITLES = {
    "caseload": "Caseload",
    "meeting": "Meeting",
    "review": "Review",
    "titration": "Titration",
    "night": "Night",
    "visit": "Home visit",
    "settings_change": "Settings change",
    "correct": "Correct",
    "person": "Person",
    "service": "Service",
    "about": "Rules and sources",
}
"""Page file to its title, in the order of the bar; caseload comes first and is the default."""
