"""The words of the house: frozen dataclasses and tables, standard library only."""
