"""What a session shows, and typing into it."""

from streamlit.testing.v1 import AppTest


def seen(session: AppTest) -> str:
    """Every text on the page, as sent to the browser."""
    kinds = ("markdown", "text", "caption", "error", "warning", "info", "success", "title")
    return "\n".join(str(element.value) for kind in kinds for element in getattr(session, kind))


def answer(session: AppTest, key: str, text: str) -> None:
    """Type or choose one answer of the form on the page."""
    for kind in (session.text_input, session.radio, session.selectbox, session.text_area):
        for widget in kind:
            if widget.key and widget.key.endswith(f"|{key}"):
                widget.set_value(text)
                return
    raise AssertionError(f"nothing on the page asks for {key}")


def press(session: AppTest, label: str) -> AppTest:
    """Press a button by its label and wait for the page."""
    return next(button for button in session.button if button.label == label).click().run()
