"""The only room that imports Streamlit."""
