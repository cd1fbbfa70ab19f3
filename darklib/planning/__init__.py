"""Matches to what lacks, and the order in which to shoot it. Pure: no database, no files, no numpy."""
