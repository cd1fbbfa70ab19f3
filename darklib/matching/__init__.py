"""Lights and calibration sets to matches. Pure: no database, no files, no numpy."""
