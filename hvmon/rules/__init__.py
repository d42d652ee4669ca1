"""Every clinical flag; catalogue.py is the page."""
