"""Fixed texts of the screens, in one place."""

TITLE = "hvmon"

CAUTION = (
    "Supports licensed judgement and local protocol, replaces neither. Figures may be stale, mistyped or "
    "from the wrong person. A missing flag is not reassurance. Not for time-critical use."
)

INVENTED = "INVENTED PERSON"

NO_PERSON = "No person is open. Type a name or number under “Find a person” on the left."

NO_ACTOR = "Type your name under “You” on the left before anything can be saved."

NOT_SAVED = "NOT saved"

NOBODY_FOUND = "Nobody found. Search looks at name, local id and second identifier."

PAGE_TITLES = {
    "caseload": "Caseload",
    "review": "Review",
    "visit": "Home visit",
    "settings_change": "Settings change",
    "titration": "Titration",
    "night": "Night",
    "person": "Person",
    "meeting": "Meeting",
    "about": "Rules and sources",
}
"""Page file to its title, in the order of the bar; caseload comes first and is the default."""
