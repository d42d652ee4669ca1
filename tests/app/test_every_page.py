"""What holds on every page: whose it is, that it is invented, the caution; and for the code of all pages."""

import ast
import tomllib
from pathlib import Path

import pytest

from hvmon.app import words
from hvmon.services import reference
from hvmon.store.errors import Busy
from hvmon.store.store import Store
from tests.app.answers import WHOLE_VISIT
from tests.app.invented import TODAY
from tests.app.sight import answer, press, seen

APP = Path(__file__).parents[2] / "hvmon" / "app"
FILES = sorted(APP.rglob("*.py"))
BANNED_ARGUMENTS = {"unsafe_allow_html", "unsafe_allow_javascript"}
BANNED_CALLS = {"html", "iframe"}
SEND_STYLE = ("browser.py", "meeting_parts.py")
ASKED_ABOUT_A_PERSON = ("visit", "settings_change", "correct", "person", "about")


@pytest.mark.parametrize("page", ASKED_ABOUT_A_PERSON)
def test_a_page_about_a_person_shows_whose_it_is_marks_the_invented_and_carries_the_caution(
    open_page, page: str
):
    session = open_page(page)
    shown = seen(session).replace("\\", "")
    assert not session.exception
    assert words.INVENTED in shown
    assert words.CAUTION in shown
    if page != "person":  # there it stands on the parts about the open person
        assert all(
            text in shown for text in ("Anna Invented", "H1001", "03 Feb 1952", "74 y", "COPD", "88 to 92 %")
        )


def test_a_failing_save_says_not_saved_and_keeps_the_form(open_page, monkeypatch: pytest.MonkeyPatch):
    def busy(*_args: object, **_more: object) -> None:
        raise Busy("Another program holds the store. NOT saved, press Save again.")

    session = open_page("visit")
    for key, text in WHOLE_VISIT.items():
        answer(session, key, text)
    session.run()
    monkeypatch.setattr(Store, "save_all", busy)
    session = press(session, "Save the visit")
    assert "**NOT saved.**" in seen(session).replace("\\", "")
    assert "The form keeps what you typed" in seen(session)
    kept = [widget.value for widget in session.text_input if (widget.key or "").endswith("|sample.ph")]
    assert kept == ["7.36"]


def test_a_draft_that_cannot_be_kept_is_told(open_page, monkeypatch: pytest.MonkeyPatch):
    def busy(*_args: object, **_more: object) -> None:
        raise Busy("Another program holds the store.")

    session = open_page("visit")
    monkeypatch.setattr(Store, "put_draft", busy)
    answer(session, "time", "1005")
    assert "NOT being kept" in seen(session.run())


def test_a_missing_store_is_told_in_a_sentence(open_page, monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    monkeypatch.setenv("HVMON_STORE", str(tmp_path / "nowhere.sqlite"))
    session = open_page("visit")
    assert len(session.error) == 1
    assert "nowhere" in session.error[0].value
    assert not (tmp_path / "nowhere.sqlite").exists()
    monkeypatch.undo()


def test_rules_and_sources_are_all_listed():
    rules = reference.rules(None, today=TODAY)
    keys = set(reference.sources()["Key"])
    assert rules["Rule"].n_unique() == rules.height
    assert set(rules["Source"]) <= keys


def test_the_banner_that_stays_in_sight_covers_what_scrolls_under_it_in_both_themes():
    settings = tomllib.loads((APP.parents[1] / ".streamlit" / "config.toml").read_text())
    light, dark = (settings["theme"][name]["backgroundColor"] for name in ("light", "dark"))
    assert f"background: light-dark({light}, {dark})" in (APP / "browser.py").read_text()


def test_the_dashboard_speaks_to_this_machine_only_and_tells_no_details():
    settings = tomllib.loads((APP.parents[1] / ".streamlit" / "config.toml").read_text())
    assert settings["server"]["address"] == "127.0.0.1"
    assert settings["server"]["maxUploadSize"] == 20
    assert settings["browser"]["gatherUsageStats"] is False
    assert settings["client"]["showErrorDetails"] == "none"
    assert settings["client"]["disableDataExport"] is True
    assert settings["client"]["toolbarMode"] == "minimal"


def _calls(tree: ast.AST) -> list[ast.Call]:
    return [node for node in ast.walk(tree) if isinstance(node, ast.Call)]


def _name(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_no_page_sends_markup_of_its_own(path: Path):
    for call in _calls(ast.parse(path.read_text())):
        arguments = {keyword.arg for keyword in call.keywords}
        assert not arguments & BANNED_ARGUMENTS, f"{path.name}:{call.lineno} sends raw markup"
        assert _name(call) not in BANNED_CALLS, f"{path.name}:{call.lineno} calls {_name(call)}"
        if "components" in ast.unparse(call.func):
            assert path.name in SEND_STYLE, f"{path.name}:{call.lineno} sends a component of its own"


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_no_page_names_an_icon_of_an_outside_font_or_another_address(path: Path):
    text = path.read_text()
    assert ":material/" not in text
    assert "http://" not in text
    assert "https://" not in text


@pytest.mark.parametrize("name", SEND_STYLE)
def test_style_and_script_of_our_own_are_constants(name: str):
    tree = ast.parse((APP / name).read_text())
    sent = [
        keyword
        for call in _calls(tree)
        if _name(call) == "component"
        for keyword in call.keywords
        if keyword.arg in {"html", "css", "js"}
    ]
    assert sent
    assigned = [
        node for node in tree.body if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
    ]
    constants = {ast.unparse(target) for node in assigned for target in node.targets}
    for keyword in sent:
        constant = isinstance(keyword.value, ast.Constant)
        assert constant or (isinstance(keyword.value, ast.Name) and keyword.value.id in constants)


MARKDOWN_SINKS = {
    "markdown", "caption", "title", "header", "subheader", "write", "error", "warning", "info", "success",
    "toast", "badge", "metric", "button", "expander", "popover", "tabs", "radio", "checkbox",
    "toggle", "table", "status", "download_button", "pills", "segmented_control",
}  # fmt: skip
SAFE_CALLS = {"plain", "label", "bare", "_asked", "told", "_label", "len", "join"}


def _parts(node: ast.expr) -> list[ast.expr] | None:
    """Parts of which a text is put together; None for a text that is one whole."""
    match node:
        case ast.JoinedStr():
            return [part.value for part in node.values if isinstance(part, ast.FormattedValue)]
        case ast.BinOp():
            return [node.left, node.right]
        case ast.IfExp():
            return [node.body, node.orelse]
        case ast.BoolOp():
            return list(node.values)
        case ast.List() | ast.Tuple():
            return list(node.elts)
    return None


def _unescaped(node: ast.expr) -> list[ast.expr]:
    """Parts of a text that are neither constants, nor escaped, nor texts of `words`."""
    parts = _parts(node)
    if parts is not None:
        return [bad for part in parts for bad in _unescaped(part)]
    fixed = isinstance(node, ast.Attribute) and ast.unparse(node.value) in {"words", "form"}
    escaped = isinstance(node, ast.Call) and _name(node) in SAFE_CALLS
    return [] if fixed or escaped or isinstance(node, ast.Constant) else [node]


MINE = (
    "browser.py", "cache.py", "fields.py", "form.py", "main.py", "parts.py", "resume.py", "sidebar.py",
    "owed_forms.py", "versions.py", "visit.py", "settings_change.py", "correct.py", "person.py", "about.py",
)  # fmt: skip


@pytest.mark.parametrize("path", [path for path in FILES if path.name in MINE], ids=lambda path: path.name)
def test_what_is_shown_by_calls_that_read_markdown_is_escaped(path: Path):
    for call in _calls(ast.parse(path.read_text())):
        if isinstance(call.func, ast.Attribute) and call.func.attr in MARKDOWN_SINKS and call.args:
            bad = [ast.unparse(part) for part in _unescaped(call.args[0])]
            assert not bad, f"{path.name}:{call.lineno} shows {bad} unescaped"


@pytest.mark.parametrize("path", [path for path in FILES if path.name in MINE], ids=lambda path: path.name)
def test_no_entry_form_lets_a_widget_guess_a_number(path: Path):
    assert "number_input" not in path.read_text()
