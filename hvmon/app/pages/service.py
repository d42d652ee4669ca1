"""The service: what the whole cohort shows, with the people behind each figure and what it cannot say."""

import streamlit as st

from hvmon.app import parts, service_parts
from hvmon.services.cohort_tables import version_line

with st.container(horizontal=True, vertical_alignment="center", gap="medium"):
    st.title("Service", anchor=False, width="content")
    unit, for_print = service_parts.choices()
st.markdown(service_parts.PURPOSE)
found = service_parts.view()
if found is not None:
    st.caption(parts.plain(version_line(found)))
    service_parts.people(found, unit)
    service_parts.effects(found, unit, for_print=for_print)
    service_parts.symptoms(found)
service_parts.cannot_say()
service_parts.priors()
parts.caution()
