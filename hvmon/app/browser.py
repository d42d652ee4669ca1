"""The only style and script the dashboard sends of its own: two constants, nothing of the record in them."""

import re
from collections.abc import Callable

import streamlit as st

_WHO_KEY = "hvmon_who"

_STYLE = """
.stMainBlockContainer { padding: 4.2rem 2rem 2rem; }
.stMainBlockContainer [data-testid="stVerticalBlock"] { gap: 0.55rem; }
.stMainBlockContainer [data-testid="stHorizontalBlock"] { row-gap: 0.35rem; }
[data-testid="stSidebarHeader"] { height: 1.2rem; }
[data-testid="stCaptionContainer"] { opacity: 1; }
[data-testid="stCaptionContainer"] p { color: inherit; opacity: 0.85; }
[data-testid="stRadio"] { margin-bottom: 0.35rem; }
[data-testid="InputInstructions"] { display: none; }
.st-key-person_banner p { font-size: 0.95rem; }
.stMain .stSelectbox button[aria-label="Clear value"] { visibility: hidden; }
.stMain .stSelectbox:hover button[aria-label="Clear value"] { visibility: visible; }
.stMain kbd { color: inherit; }
[data-testid="stButtonGroup"] button[data-selected="true"] p,
[data-testid="stTab"][aria-selected="true"] p { color: light-dark(#1d5563, #8cc9d6); }
[data-testid="stLayoutWrapper"]:has(> .st-key-person_banner) {
  position: sticky; top: 3.75rem; z-index: 20; background: light-dark(#fcfcfa, #13181a);
}
.stApp [data-testid="stMarkdownContainer"] a[href^="http"] {
  pointer-events: none; color: inherit; text-decoration: none;
}
[data-testid="stMain"] { scroll-padding: 10rem 0 4rem; }
[data-testid="stElementToolbar"] button[aria-label^="Download as PNG"],
[data-testid="stElementToolbar"] button[aria-label^="Copy Vega-Lite spec"] { display: none; }
.st-key-hvmon_style, .st-key-hvmon_focus, .st-key-hvmon_who { display: none; }
@media print {
  [data-testid="stSidebar"], [data-testid="stHeader"], button { display: none !important; }
}
"""

_FOCUS = """
export default function ({ data }) {
  if (window.hvmonFocused === data.form) return
  const drawn = () => {
    const parts = [...document.querySelectorAll('[class*="st-key-' + data.form + '-"]')]
    return document.querySelector(".st-key-" + data.form + "-save")
      && parts.every((part) => part.querySelector("input, textarea, button"))
  }
  const look = (tries) => {
    const field = document.querySelector(".st-key-" + data.field + " input")
    if (field && drawn()) { field.focus(); window.hvmonFocused = data.form }
    else if (tries > 0) setTimeout(() => look(tries - 1), 50)
  }
  look(400)
}
"""
"""Waits until every field of the form stands: a key pressed before would reach the wrong one."""

_INERT = """
const OUTWARD = '[data-testid="stMarkdownContainer"] a[href]:not([href^="#"])'
export default function () {
  if (window.hvmonInert) return
  window.hvmonInert = true
  const still = () => document.querySelectorAll(OUTWARD).forEach((link) => link.removeAttribute("href"))
  new MutationObserver(still).observe(document.body, {
    childList: true, subtree: true, attributes: true, attributeFilter: ["href"],
  })
  still()
}
"""
"""Takes the address off links the browser makes of typed text, so that no click or key follows one."""

_WHO = """
export default function ({ data, setTriggerValue }) {
  const given = data.name || data.role || data.hidden
  if (given || window.hvmonWho) sessionStorage.setItem("hvmon", JSON.stringify(data))
  else if (sessionStorage.getItem("hvmon")) setTriggerValue("kept", sessionStorage.getItem("hvmon"))
  window.hvmonWho = true
}
"""
"""Keeps who is working in this tab of the browser until it is closed, and gives it back after a refresh."""

_style = st.components.v2.component(
    "hvmon_style", html="<span></span>", css=_STYLE, js=_INERT, isolate_styles=False
)
_focus = st.components.v2.component("hvmon_focus", js=_FOCUS)
_who = st.components.v2.component("hvmon_who", js=_WHO)


def style() -> None:
    """Set the spacing of the pages and how they print."""
    _style(key="hvmon_style")


def keep_who(name: str, role: str, *, hidden: bool, restore: Callable[[str], None]) -> None:
    """Keep who is working for this tab; after a refresh `restore` is given the text that was kept."""

    def back() -> None:
        restore(str(st.session_state[_WHO_KEY].get("kept") or ""))

    _who(data={"name": name, "role": role, "hidden": hidden}, key=_WHO_KEY, on_kept_change=back)


def focus(token: str, widget_key: str) -> None:
    """Put the cursor into a field of the form of that token, once, as soon as the whole form stands."""
    _focus(data={"form": token, "field": re.sub(r"[^a-zA-Z0-9_-]", "-", widget_key)}, key="hvmon_focus")
