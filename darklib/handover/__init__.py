"""Matches -> files for the stacking program: what goes along, in which role, and how it is meant to be used."""
