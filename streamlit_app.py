"""The dashboard: `streamlit run streamlit_app.py`."""

from hvmon.app.main import run

run()
