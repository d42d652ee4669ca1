"""hvmon: the record a home-ventilation team keeps."""

__version__ = "0.1.0"
