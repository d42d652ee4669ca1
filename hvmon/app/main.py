"""The frame of the dashboard: pages as files, the sidebar, or a sentence why the store cannot be opened."""

import streamlit as st

from hvmon.app import browser, cache, parts, sidebar, words
from hvmon.services.stores import StoreError


def _pages() -> list[st.Page]:
    first = next(iter(words.PAGE_TITLES))
    return [
        st.Page(parts.page_path(name), title=title, default=name == first)
        for name, title in words.PAGE_TITLES.items()
    ]


def run() -> None:
    """Draw the frame and run the chosen page."""
    st.set_page_config(page_title=words.TITLE, layout="wide", initial_sidebar_state="expanded")
    page = st.navigation(_pages(), position="top")
    try:
        cache.store()
    except StoreError as error:
        st.error(parts.plain(error))
        st.stop()
    browser.style()
    sidebar.draw()
    try:
        page.run()
        cache.settle(page.title)
    except StoreError as error:
        st.error(parts.plain(error))
        parts.caution()
