"""The dashboard: `streamlit run streamlit_app.py`."""

from hvmon.app.main import run

if __name__ == "__main__":  # a process pool runs this file again under another name
    run()
