"""A test while it is put together on the pages; no Streamlit in it."""
