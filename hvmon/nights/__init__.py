"""Scoring of overnight signals; arrays in, result records out."""
